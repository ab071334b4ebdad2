"""Jobs at the same time, as instances and threads run them."""

from collections.abc import Callable
from threading import Thread
from typing import Any


def together(*jobs: Callable[[], Any]) -> None:
    """Run jobs in threads of their own and pass on the first thing that goes wrong."""
    wrong: list[BaseException] = []

    def run(job: Callable[[], Any]) -> None:
        try:
            job()
        except BaseException as error:
            wrong.append(error)

    threads = [Thread(target=run, args=(job,)) for job in jobs]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join(30)
    if wrong:
        raise wrong[0]
