"""linkfit: what a self-hosted service can do over a cellular or satellite uplink.

Names resolve on first use, so that ``import linkfit`` loads no numeric library.
"""

from typing import TYPE_CHECKING, Any

_HOMES = {
    "ArtifactError": "errors",
    "CapacityPaths": "link.paths",
    "ConfigError": "errors",
    "FitError": "errors",
    "Forecast": "forecast.draws",
    "InfeasibleError": "errors",
    "InputError": "errors",
    "LinkModel": "link.model",
    "LinkfitError": "errors",
    "LinkfitWarning": "errors",
    "Site": "site.model",
    "Trace": "ingest.trace",
    "TraceError": "errors",
    "advise": "advice.advise",
    "backtest": "forecast.backtest",
    "evaluate": "forecast.evaluation",
    "fit_link": "link.fit",
    "load_link": "link.artifact",
    "predict_transfer": "forecast.transfer",
    "read_site": "site.file",
    "read_trace": "ingest.reader",
    "transfer_times_s": "forecast.tcp",
}

__all__ = ["__version__", *_HOMES]

if TYPE_CHECKING:  # the same names for type checkers and editors
    from linkfit.advice.advise import advise as advise
    from linkfit.errors import ArtifactError as ArtifactError


def __getattr__(name: str) -> Any:
    if name == "__version__":
        from importlib.metadata import version

        return version("linkfit")
    if name not in _HOMES:
        raise AttributeError(f"module 'linkfit' has no attribute {name!r}")
    from importlib import import_module

    return getattr(import_module(f"linkfit.{_HOMES[name]}"), name)


def __dir__() -> list[str]:
    return sorted(__all__)
