import os

import pytest

from linkfit.errors import InputError
from linkfit.probe.store_lock import StoreLock


def test_a_second_holder_is_refused_and_told_who_holds_it(tmp_path):
    store = tmp_path / "camp.store"
    lock = StoreLock(store)
    with pytest.raises(InputError, match=f"process {os.getpid()} holds"):
        StoreLock(store)
    lock.release()
    StoreLock(store).release()


def test_the_lock_of_a_killed_process_is_free(tmp_path):
    store = tmp_path / "camp.store"
    child = os.fork()
    if child == 0:
        StoreLock(store)
        os._exit(9)
    os.waitpid(child, 0)
    StoreLock(store).release()
