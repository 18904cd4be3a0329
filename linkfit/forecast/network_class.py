"""Network classes of ITU-T Y.1541: what delay, its variation and loss allow on a path."""

from dataclasses import dataclass

from linkfit._checks import fraction, non_negative


@dataclass(frozen=True, slots=True, kw_only=True)
class NetworkClass:
    """Bounds of one class: mean one-way delay [s], its variation [s], loss; None: unspecified."""

    number: int
    delay_s: float | None
    variation_s: float | None
    loss_frac: float | None
    for_what: str


# Source: RFC 5976 section 2.1, which restates ITU-T Y.1541; the uses are common practice
CLASSES = (
    NetworkClass(number=0, delay_s=0.1, variation_s=0.05, loss_frac=1e-3,
                 for_what="calls, also over long ways"),
    NetworkClass(number=1, delay_s=0.4, variation_s=0.05, loss_frac=1e-3, for_what="calls"),
    NetworkClass(number=2, delay_s=0.1, variation_s=None, loss_frac=1e-3,
                 for_what="highly interactive work"),
    NetworkClass(number=3, delay_s=0.4, variation_s=None, loss_frac=1e-3,
                 for_what="interactive work"),
    NetworkClass(number=4, delay_s=1.0, variation_s=None, loss_frac=1e-3,
                 for_what="short exchanges and video that is fetched ahead"),
    NetworkClass(number=5, delay_s=None, variation_s=None, loss_frac=None,
                 for_what="whatever the path happens to carry"),
    NetworkClass(number=6, delay_s=0.1, variation_s=0.05, loss_frac=1e-5,
                 for_what="what loss hurts most, prompt"),
    NetworkClass(number=7, delay_s=0.4, variation_s=0.05, loss_frac=1e-5,
                 for_what="what loss hurts most"),
)  # fmt: skip


def classes_met(delay_s: float, variation_s: float, loss_frac: float) -> tuple[int, ...]:
    """Numbers of the classes whose bounds a path keeps.

    Parameters
    ----------
    delay_s : float
        Mean one-way delay. [s]
    variation_s : float
        Its 99.9 % point less its least value. [s]
    loss_frac : float
        Packets lost. [fraction]

    Source
    ------
    RFC 5976 section 2.1, restating ITU-T Y.1541.
    """
    delay = non_negative("delay_s", delay_s)
    variation = non_negative("variation_s", variation_s)
    loss = fraction("loss_frac", loss_frac)

    def keeps(one: NetworkClass) -> bool:
        pairs = ((delay, one.delay_s), (variation, one.variation_s), (loss, one.loss_frac))
        return all(bound is None or value <= bound for value, bound in pairs)

    return tuple(one.number for one in CLASSES if keeps(one))
