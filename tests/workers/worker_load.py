"""Work for other processes: they can load it from here, not from a test module."""

import os


def square_and_process(offset, first, count):
    return [offset + k * k for k in range(first, first + count)], os.getpid()


def raise_error(number):
    raise ValueError(f"number {number} does not please")


def die(number):
    os._exit(3)


def thread_setting():
    return os.environ["NUMBA_NUM_THREADS"]


class Travelled:
    """Returns how many of its kind were unpickled in the process it is called in."""

    arrivals = 0

    def __reduce__(self):
        return _arrive, ()

    def __call__(self):
        return Travelled.arrivals


def _arrive():
    Travelled.arrivals += 1
    return Travelled()


class Stubborn(Exception):
    """Cannot be made anew from its text alone."""

    def __init__(self, number, why):
        super().__init__(f"number {number} {why}")


def raise_stubborn(number):
    raise Stubborn(number, "does not travel")
