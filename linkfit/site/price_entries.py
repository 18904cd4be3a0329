"""The table of prices: the user's own figures, none of which linkfit makes up."""

from typing import Annotated

from pydantic import Field

from linkfit.site.entry import Entry
from linkfit.site.quantities import Label, SizeLimit

Money = Annotated[float, Field(ge=0, le=1e12)]


class PlanPriceEntry(Entry):
    """One plan that is on sale."""

    cap: SizeLimit = Field(description="data of one billing cycle", examples=["100 GB"])
    per_month: Money = Field(description="what it costs a month", examples=[28.0])


class PricesEntry(Entry):
    """What may be bought, at the user's own prices."""

    currency: Label = Field("units of money", description="of all prices here", examples=["EUR"])
    plans: tuple[PlanPriceEntry, ...] = Field(
        (),
        strict=False,
        description="plans on sale, the present one among them",
        examples=[[{"cap": "60 GB", "per_month": 20.0}, {"cap": "100 GB", "per_month": 28.0}]],
    )
    extra_per_GB: Money | None = Field(  # noqa: N815  (GB as everybody writes it)
        None, description="data beyond the plan, bought beforehand", examples=[1.5]
    )
    panel_per_W: Money | None = Field(  # noqa: N815
        None, description="a larger panel, bought once", examples=[1.1]
    )
    battery_per_Wh: Money | None = Field(  # noqa: N815
        None, description="a larger battery, bought once", examples=[0.35]
    )
    most_per_month: Money | None = Field(
        None, description="advice may spend so much a month; left out: nothing", examples=[15.0]
    )
    most_once: Money | None = Field(
        None, description="advice may spend so much once; left out: nothing", examples=[300.0]
    )
