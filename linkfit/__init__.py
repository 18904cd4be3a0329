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
    from linkfit.errors import ConfigError as ConfigError
    from linkfit.errors import FitError as FitError
    from linkfit.errors import InfeasibleError as InfeasibleError
    from linkfit.errors import InputError as InputError
    from linkfit.errors import LinkfitError as LinkfitError
    from linkfit.errors import LinkfitWarning as LinkfitWarning
    from linkfit.errors import TraceError as TraceError
    from linkfit.forecast.backtest import backtest as backtest
    from linkfit.forecast.draws import Forecast as Forecast
    from linkfit.forecast.evaluation import evaluate as evaluate
    from linkfit.forecast.tcp import transfer_times_s as transfer_times_s
    from linkfit.forecast.transfer import predict_transfer as predict_transfer
    from linkfit.ingest.reader import read_trace as read_trace
    from linkfit.ingest.trace import Trace as Trace
    from linkfit.link.artifact import load_link as load_link
    from linkfit.link.fit import fit_link as fit_link
    from linkfit.link.model import LinkModel as LinkModel
    from linkfit.link.paths import CapacityPaths as CapacityPaths
    from linkfit.site.file import read_site as read_site
    from linkfit.site.model import Site as Site


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
