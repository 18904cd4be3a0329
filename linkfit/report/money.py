"""Money as a person says it: nothing, so much a month, so much once, or no price given."""


def money_text(month_cost: float | None, once_cost: float | None, currency: str) -> str:
    """``"15 EUR a month and 120 EUR once"``; what has no price is never nothing."""
    if month_cost is None or once_cost is None:
        return "price not given"
    parts = ((month_cost, "a month"), (once_cost, "once"))
    found = [f"{_plain(amount)} {currency} {when}" for amount, when in parts if amount]
    return " and ".join(found) or "none"


def _plain(cost: float) -> str:
    """Two decimals where there are any: 15, 12.50."""
    text = f"{cost:.2f}"
    return text.removesuffix(".00")
