"""Work for the tests of tasks, in a module that a new process loads quickly."""

import os
import time

from bracedtop.geometry.errors import DesignError
from bracedtop.scripts.page.tasks import Tasks


def count(report, most):
    for k in range(most):
        report(f"step {k}", k / most)
    return most, os.nice(0) if hasattr(os, "nice") else None


def refuse(report):
    message = "top.toml: no\nsuch wood"
    raise DesignError(message)


def sleep_long(report, path):
    path.write_text(str(os.getpid()))
    report("asleep", None)
    time.sleep(60)


def end_hard(report):
    os._exit(3)


def parent_of_task(path):
    Tasks(lambda task: None).start("solve", "Solving", 1, sleep_long, path)
    time.sleep(60)
