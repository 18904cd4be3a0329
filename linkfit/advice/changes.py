"""All changes that make sense for one site on one link."""

from linkfit.advice.change import Change
from linkfit.advice.link_rates import LinkRates
from linkfit.advice.pace_changes import pace_changes
from linkfit.advice.payload_changes import payload_changes
from linkfit.advice.priority_changes import priority_changes
from linkfit.advice.supply_changes import supply_changes
from linkfit.advice.traffic_changes import traffic_changes
from linkfit.site.model import Site


def candidate_changes(site: Site, rates: LinkRates | None = None) -> tuple[Change, ...]:
    """Every change that applies to `site`, level by level, weakest first within a setting.

    Parameters
    ----------
    site : Site
        What is asked of the link.
    rates : LinkRates, optional
        Slow and median rates of the link, which rate limits, chunk sizes and parallelism are
        taken from; without them those changes are left out.

    Notes
    -----
    No change goes below the floor of its ladder (720 px photos, 160 px thumbnails, quality 75,
    360p video, no limit or hours on a service that somebody waits for), so a chosen set never
    fits by emptying what the service promises. Purchases are among them, whether the site's
    prices allow them or not.
    """
    changes = [
        *payload_changes(site),
        *traffic_changes(site),
        *priority_changes(site),
        *supply_changes(site),
    ]
    if rates is not None:
        changes += pace_changes(site, rates)
    # a level that changes nothing here is no change: a cause that is off already
    return tuple(change for change in changes if change.apply(site) is not site)
