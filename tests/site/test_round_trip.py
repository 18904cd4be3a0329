"""Random valid Sites and the TOML that says the same, written here apart from the reader."""

import json
from contextlib import suppress
from datetime import date

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from linkfit.errors import ConfigError
from linkfit.site.assembly import assemble
from linkfit.site.background import default_background
from linkfit.site.file import parse_site
from linkfit.site.hours import DayWindow, Hours, Power
from linkfit.site.kinds import KINDS
from linkfit.site.model import (
    PRIORITIES,
    TUNNELS,
    Background,
    Backlog,
    Cache,
    Image,
    PathLimits,
    Service,
    Site,
    SizeLaw,
    Task,
)
from linkfit.site.plan import Plan
from linkfit.site.problems import Problems
from linkfit.site.shown import toml_string

HOSTILE = [
    "<script>alert(1)</script>", "=1+1", "\x1b[31mred\x1b[0m", 'quote " and \\ back', "'", "#no",
    "[[service]]", "two\nlines", "\u202eright", "é\U0001f3fa", "{{ 7*7 }}", "a\x7fb", "../../etc",
]  # fmt: skip
names = st.one_of(
    st.sampled_from(HOSTILE),
    st.text(st.characters(exclude_categories=["Cs"]), min_size=1, max_size=20).filter(str.strip),
)
amounts = st.floats(1e-3, 1e12)
times_s = st.floats(1e-3, 1e7)
shares = st.floats(0, 1)
flows = st.sampled_from(["out", "in", "both"])
sizes = st.builds(SizeLaw, median_bytes=st.floats(1, 1e12), spread=st.floats(1, 50))
images = st.one_of(
    st.builds(
        Image,
        edge_px=st.integers(250, 2560),
        format=st.just("jpeg"),
        quality=st.integers(75, 85),
        role=st.sampled_from(["photo", "thumbnail"]),
    ),
    st.builds(Image, edge_px=st.integers(250, 2560), format=st.just("webp")),
)
caches = st.builds(
    Cache,
    scope=st.sampled_from(["none", "browser", "shared"]),
    lifetime_s=st.floats(0, 1e7),
    views_per_object_day=st.floats(0, 1e3),
)


def maybe(values):
    return st.none() | values


@st.composite
def windows(draw):
    start, length = draw(st.integers(0, 1439)), draw(st.integers(1, 1439))
    return (DayWindow(start_h=start / 60, end_h=(start + length) % 1440 / 60),)


tasks = st.builds(
    Task,
    name=names,
    flow=flows,
    size=sizes,
    n_requests=st.integers(1, 1000),
    per_user_day=st.floats(0, 1e5),
    target_s=maybe(times_s),
    duration_s=st.floats(0, 1e5),
    chunk_bytes=maybe(amounts),
    n_parallel=st.integers(1, 16),
    resumable=st.booleans(),
    per_item_s=st.floats(0, 10),
    image=maybe(images),
    cache=caches,
    must_carry=st.booleans(),
    fresh_connection=st.booleans(),
    live=st.booleans(),
)


@st.composite
def services(draw):
    kind = draw(st.sampled_from(sorted(KINDS)))
    known = {task.name for task in (*KINDS[kind].tasks, *KINDS[kind].occasional)}
    return Service(
        name=draw(names),
        kind=kind,
        n_users=draw(st.integers(0, 1000)),
        tasks=tuple(
            draw(
                st.lists(
                    tasks.filter(lambda task: task.name not in known),
                    min_size=1,
                    max_size=2,
                    unique_by=lambda task: task.name,
                )
            )
        ),
        rate_limit_bps=draw(maybe(amounts)),
        local_name=draw(st.booleans()),
        priority=draw(st.sampled_from(PRIORITIES)),
    )


plans = st.one_of(
    st.builds(Plan, counted=st.sampled_from(["both", "up", "down"])),
    st.builds(
        Plan,
        cap_bytes=amounts,
        cycle_day=st.integers(1, 31),
        throttle_bps=maybe(amounts),
    ),
    st.builds(
        Plan,
        cap_bytes=amounts,
        tether_bytes=maybe(amounts),
        carry_over_bytes=amounts,
        round_up_bytes=amounts,
        sessions_per_day=st.floats(0, 86_400),
    ),
    st.builds(Plan, cap_bytes=amounts, price_per_gb=st.floats(0, 1e6)),
)
paths = st.builds(
    PathLimits,
    entry=st.just("direct"),
    tunnel_overhead_bytes=st.floats(0, 100),
    body_limit_bytes=maybe(amounts),
    idle_timeout_s=maybe(times_s),
    same_link_share_frac=shares,
    keepalive_s=maybe(times_s),
    mtu_bytes=st.floats(576, 9000),
    tunnel=st.sampled_from(TUNNELS),
) | st.builds(PathLimits, entry=st.just("relay"), relay_rtt_s=st.floats(0, 1e-3))
hours = st.one_of(
    st.just(Hours()),
    st.builds(Hours, windows=windows()),
    st.builds(
        Hours,
        power=st.builds(
            Power,
            battery_wh=amounts,
            load_w=amounts,
            panel_w=st.floats(0, 1e4),
            sun_hours=st.floats(0, 24),
            usable_frac=shares,
            yield_frac=shares,
        ),
    ),
)
backgrounds = st.builds(
    Background, name=names, bytes_per_day=st.floats(0, 1e12), flow=flows, optional=st.booleans()
)
backlogs = st.builds(
    Backlog,
    name=names,
    n_items=st.integers(1, 10**6),
    size=sizes,
    flow=flows,
    resumable=st.booleans(),
    deadline=maybe(st.dates(date(2000, 1, 1), date(2100, 1, 1))),
    per_item_s=st.floats(0, 100),
    n_parallel=st.integers(1, 8),
    chunk_bytes=maybe(amounts),
    image=maybe(images),
    rate_limit_bps=maybe(amounts),
    arrivals_per_day=st.floats(0, 1e5),
    priority=st.integers(0, 9),
)


@st.composite
def sites(draw):
    """A Site that a file can say: its background begins with the default causes."""
    path, up = draw(paths), draw(hours)
    usual = default_background(path)
    taken = {cause.name for cause in usual}
    own = st.lists(
        backgrounds.filter(lambda cause: cause.name not in taken),
        max_size=2,
        unique_by=lambda cause: cause.name,
    )
    by_name = {"max_size": 2, "unique_by": lambda item: item.name}
    return Site(
        name=draw(names),
        timezone=draw(st.sampled_from(["UTC", "Europe/Lisbon", "Asia/Kathmandu"])),
        plan=draw(plans),
        path=path,
        hours=up,
        services=tuple(draw(st.lists(services(), **by_name))),
        background=(*usual, *draw(own)),
        backlogs=tuple(draw(st.lists(backlogs, **by_name))),
    )


def _text(value: str) -> str:
    return json.dumps(value, ensure_ascii=True) if value.isascii() and "\x7f" not in value else (
        '"' + "".join(f"\\U{ord(character):08x}" for character in value) + '"'
    )  # fmt: skip


def _lines(values: dict[str, str | None]) -> str:
    return "".join(f"{key} = {value}\n" for key, value in values.items() if value is not None)


def _with_unit(value, unit):
    return None if value is None else f'"{value!r} {unit}"'


def _yes(value):
    return "true" if value else "false"


def _size(law):
    return f'{{ median = "{law.median_bytes!r} B", spread = {law.spread!r} }}'


def _photo(image):
    return image and (
        f'{{ edge = {image.edge_px}, format = "{image.format}", quality = {image.quality}, '
        f'role = "{image.role}" }}'
    )


def _windows(value):
    def clock(hour):
        minutes = round(hour * 60)
        return f"{minutes // 60:02}:{minutes % 60:02}"

    texts = [f'"{clock(w.start_h)}-{clock(w.end_h)}"' for w in value]
    return f"[{', '.join(texts)}]" if texts else None


def _task(task):
    return "[[service.task]]\n" + _lines({
        "name": _text(task.name),
        "flow": f'"{task.flow}"',
        "size": _size(task.size),
        "requests": repr(task.n_requests),
        "per_user_day": repr(task.per_user_day),
        "target": _with_unit(task.target_s, "s"),
        "duration": _with_unit(task.duration_s, "s"),
        "chunk": _with_unit(task.chunk_bytes, "B"),
        "parallel": repr(task.n_parallel),
        "resumable": _yes(task.resumable),
        "per_item": _with_unit(task.per_item_s, "s"),
        "photo": _photo(task.image),
        "cache": f'{{ scope = "{task.cache.scope}", lifetime = "{task.cache.lifetime_s!r} s", '
                 f"views_per_object_day = {task.cache.views_per_object_day!r} }}",
        "must_carry": _yes(task.must_carry),
        "fresh_connection": _yes(task.fresh_connection),
        "live": _yes(task.live),
    })  # fmt: skip


def _service(service):
    own = _lines({
        "name": _text(service.name),
        "kind": f'"{service.kind}"',
        "users": repr(service.n_users),
        "only_listed_tasks": "true",
        "rate_limit": _with_unit(service.rate_limit_bps, "bit/s"),
        "local_name": _yes(service.local_name),
        "priority": _text(service.priority),
        "window": _windows(service.window),
    })  # fmt: skip
    return "[[service]]\n" + own + "".join(map(_task, service.tasks))


def _plan(plan):
    after = None
    if plan.cap_bytes is not None:
        after = '"stop"'
        if plan.throttle_bps is not None:
            after = _with_unit(plan.throttle_bps, "bit/s")
        if plan.price_per_gb is not None:
            after = f"{{ price_per_GB = {plan.price_per_gb!r} }}"
    return "[plan]\n" + _lines({
        "cap": _with_unit(plan.cap_bytes, "B"),
        "counted": f'"{plan.counted}"',
        "cycle_day": repr(plan.cycle_day),
        "after_cap": after,
        "tether": _with_unit(plan.tether_bytes, "B"),
        "carry_over": _with_unit(plan.carry_over_bytes, "B"),
        "round_up": _with_unit(plan.round_up_bytes, "B"),
        "sessions_per_day": None if plan.round_up_bytes is None else repr(plan.sessions_per_day),
    })  # fmt: skip


def _path(path):
    return "[path]\n" + _lines({
        "entry": f'"{path.entry}"',
        "relay_rtt": _with_unit(path.relay_rtt_s, "s") if path.entry == "relay" else None,
        "tunnel_overhead": _with_unit(path.tunnel_overhead_bytes, "B"),
        "body_limit": _with_unit(path.body_limit_bytes, "B"),
        "idle_timeout": _with_unit(path.idle_timeout_s, "s"),
        "same_link_share": repr(path.same_link_share_frac),
        "keepalive": _with_unit(path.keepalive_s, "s"),
        "mtu": _with_unit(path.mtu_bytes, "B"),
        "tunnel": f'"{path.tunnel}"',
    })  # fmt: skip


def _hours(value):
    if value.power is None:
        return f"[hours]\nup = {_windows(value.windows)}\n" if value.windows else ""
    power = value.power
    return "[power]\n" + _lines({
        "battery": _with_unit(power.battery_wh, "Wh"),
        "load": _with_unit(power.load_w, "W"),
        "panel": _with_unit(power.panel_w, "W"),
        "sun_hours": repr(power.sun_hours),
        "usable": repr(power.usable_frac),
        "panel_yield": repr(power.yield_frac),
    })  # fmt: skip


def _backlog(backlog):
    return "[[backlog]]\n" + _lines({
        "name": _text(backlog.name),
        "items": repr(backlog.n_items),
        "size": _size(backlog.size),
        "flow": f'"{backlog.flow}"',
        "resumable": _yes(backlog.resumable),
        "deadline": backlog.deadline and backlog.deadline.isoformat(),
        "per_item": _with_unit(backlog.per_item_s, "s"),
        "parallel": repr(backlog.n_parallel),
        "chunk": _with_unit(backlog.chunk_bytes, "B"),
        "photo": _photo(backlog.image),
        "rate_limit": _with_unit(backlog.rate_limit_bps, "bit/s"),
        "arrivals_per_day": repr(backlog.arrivals_per_day),
        "priority": repr(backlog.priority),
    })  # fmt: skip


def _background(cause):
    return "[[background]]\n" + _lines({
        "name": _text(cause.name),
        "per_day": _with_unit(cause.bytes_per_day, "B"),
        "flow": f'"{cause.flow}"',
        "optional": _yes(cause.optional),
    })  # fmt: skip


def toml_of(site: Site) -> str:
    """The site file that says `site`; the default background stays unsaid."""
    usual = {cause.name for cause in default_background(site.path)}
    own = [cause for cause in site.background if cause.name not in usual]
    return (
        f'[site]\nname = {_text(site.name)}\ntimezone = "{site.timezone}"\n'
        + _plan(site.plan)
        + _path(site.path)
        + _hours(site.hours)
        + "".join(map(_service, site.services))
        + "".join(map(_background, own))
        + "".join(map(_backlog, site.backlogs))
    )


@settings(max_examples=60, suppress_health_check=[HealthCheck.too_slow])
@given(sites())
def test_a_site_written_to_toml_reads_back_equal(site):
    assert parse_site(toml_of(site)) == site


@given(st.sampled_from(HOSTILE))
def test_hostile_names_survive_as_data_and_are_harmless_in_messages(name):
    text = f"[site]\nname = {toml_string(name)}\n"
    assert parse_site(text).name == name
    with pytest.raises(ConfigError, match="expected one of") as caught:
        parse_site(f"{text}{toml_string(name)} = 1\n")
    assert str(caught.value).isprintable()


@given(st.text(max_size=80))
def test_any_text_is_a_site_or_a_config_error(text):
    with suppress(ConfigError):  # anything else would be a bug
        assert parse_site(text).name


@given(
    st.recursive(
        st.none() | st.booleans() | st.integers() | st.floats() | st.text(max_size=5) | st.dates(),
        lambda inner: (
            st.lists(inner, max_size=3)
            | st.dictionaries(st.sampled_from(["name", "size", "median", "task", "photo"]), inner)
        ),
        max_leaves=6,
    ),
    st.sampled_from(
        ["site", "plan", "path", "hours", "power", "prices", "service", "background", "backlog"]
    ),
)
def test_any_value_in_any_table_is_a_site_or_a_config_error(value, table):
    problems = Problems("x", {table: 0})
    with suppress(ConfigError):  # anything else would be a bug
        assert assemble({"site": {"name": "dig"}, table: value}, problems).name
