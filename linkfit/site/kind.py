"""Kind: what a kind of service brings to a site file before its owner changes anything."""

from dataclasses import dataclass

from linkfit.errors import InputError
from linkfit.site.model import Task


@dataclass(frozen=True, slots=True, kw_only=True)
class Video:
    """A task that carries video: how long the picture in it lasts, and whether it is the main one.

    A service's `video_rate` sets the main tasks to that rate and lowers the others to it.
    """

    task: str
    length_s: float
    main: bool = True


@dataclass(frozen=True, slots=True, kw_only=True)
class Kind:
    """A kind of service with its default tasks.

    Parameters
    ----------
    users_are : str
        What a service of this kind counts with `users`: "users", "visitors", "cameras", ...
    tasks : tuple of Task
        What every service of this kind does.
    occasional : tuple of Task
        What it may do besides: joins only if the site file names the task.
    videos : tuple of Video
        Which tasks follow `video_rate`.
    bulk : tuple of str
        Tasks that move files in their own time: `chunk` and `parallel` of a service set these.
    needs_users : bool
        False: `users` may be left out, and is 1.
    """

    name: str
    summary: str
    users_are: str
    tasks: tuple[Task, ...]
    occasional: tuple[Task, ...] = ()
    videos: tuple[Video, ...] = ()
    bulk: tuple[str, ...] = ()
    needs_users: bool = True

    def __post_init__(self) -> None:
        known = [task.name for task in (*self.tasks, *self.occasional)]
        if len(set(known)) < len(known):
            raise InputError(f"{self.name}: expected different task names, got {known}")
        for name in (*self.bulk, *(video.task for video in self.videos)):
            if name not in known:
                raise InputError(f"{self.name}: expected one of {known}, got {name!r}")

    def task(self, name: str) -> Task | None:
        """The default or occasional task called `name`; None if the kind has none."""
        for task in (*self.tasks, *self.occasional):
            if task.name == name:
                return task
        return None
