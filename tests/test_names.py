"""Units live in names: a number's or an array's name ends in its unit, or stands in the list."""

import ast
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[1] / "linkfit"
MODULES = sorted(ROOT.rglob("*.py"))
UNITS = (
    "s", "bps", "bits", "bytes", "bytes_per_month", "bytes_per_day", "bytes_per_s", "frac", "prob",
    "per_s", "per_day", "utc", "wh", "w", "px", "h", "hours", "days", "per_gb", "dbm", "db",
    "per_user_day", "erlangs", "gb", "s2", "level", "levels", "per_object_day", "index",
    "wh_per_gb", "packets", "probes", "hour", "pt",
)  # fmt: skip
# what has no unit, or carries it beside the number (Forecast.unit)
UNITLESS = {
    # counts, ratios and parameters of distributions
    "spread", "spreads", "shape", "scale", "mu", "sigma", "sigmas", "weight", "weights", "factor",
    "factors",
    "share", "multiplier", "slope", "ratio", "score", "scores", "z", "x", "y", "p", "r", "c", "k",
    "alpha", "cov", "statistic", "correlation", "r1", "autocorrelation", "exponent", "cost",
    "crps", "crps_ratio", "crps_ratio_replay", "crps_ratio_marginal", "pit", "draws", "values",
    "value", "number", "limit", "position", "loops",
    "centre", "before", "after", "log_rates", "differences",
    "a", "b", "gain", "u", "uniforms", "normal", "ordered", "worlds",
    "world", "array",
    "margin", "ridge", "deviation", "bound", "bounds", "d", "theta", "gradient", "log_likelihood",
    "unit", "q", "cumulative", "standard_error", "step", "out", "block", "trips",
    "gram", "product", "squares", "observed", "forecast", "each", "best", "other", "low", "high",
    "shortfall", "impairment", "robustness", "points", "costs", "effects", "needs", "objective",
}  # fmt: skip
FLOAT_WORDS = ("float", "np.float64", "NDArray[np.float64]", "ArrayLike")
FORBIDDEN = ("_ms", "_kb", "_mb", "_gb_s", "_mbps", "_kbps", "_pct", "_percent", "_us", "_ns")


def annotated_names(tree):
    for node in ast.walk(tree):
        if isinstance(node, ast.AnnAssign) and isinstance(node.target, ast.Name):
            yield node.target.id, node.annotation, node.lineno
        elif isinstance(node, ast.arg) and node.annotation is not None:
            yield node.arg, node.annotation, node.lineno


def is_number(annotation) -> bool:
    text = ast.unparse(annotation).strip("'\"")
    parts = {part.strip() for part in text.replace("| None", "").split("|")}
    return bool(parts & set(FLOAT_WORDS))


def has_unit(name: str) -> bool:
    bare = name.lstrip("_")
    return (
        bare in UNITLESS
        or bare.rsplit("_", 1)[-1] in UNITLESS
        or bare.startswith(("prob_", "n_"))
        or any(bare == unit or bare.endswith(f"_{unit}") for unit in UNITS)
    )


@pytest.mark.parametrize("path", MODULES, ids=lambda p: str(p.relative_to(ROOT)))
def test_numbers_carry_their_unit(path):
    tree = ast.parse(path.read_text(encoding="utf-8"))
    wrong = [
        f"line {line}: {name}"
        for name, annotation, line in annotated_names(tree)
        if is_number(annotation) and not has_unit(name)
    ]
    assert not wrong, f"{path.name}: no unit in the name: {wrong}"


@pytest.mark.parametrize("path", MODULES, ids=lambda p: str(p.relative_to(ROOT)))
def test_one_unit_per_quantity(path):
    tree = ast.parse(path.read_text(encoding="utf-8"))
    wrong = [
        f"line {line}: {name}"
        for name, annotation, line in annotated_names(tree)
        if name.endswith(FORBIDDEN) and is_number(annotation)
    ]
    assert not wrong, f"{path.name}: seconds, bits and bytes only: {wrong}"
