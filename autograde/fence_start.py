"""The first thing that runs behind the fence: bound this process, give up every right, become the kernel.

It runs there with `behind` alone, so it imports the standard library only.
Arguments: whether calls are refused (0 or 1), uid (0 = stay), seconds to live, CPU seconds, bytes of memory, bytes of a
file, processes, then the arguments for Python.
"""

import os
import resource
import signal
import sys

from behind import calls


def _main(arguments):
    refused, uid, seconds, cpu, memory, file, processes = map(int, arguments[:7])
    signal.alarm(seconds)  # stays set in the kernel: it ends even if whoever should end it is gone
    bounds = {"CPU": cpu, "AS": memory, "FSIZE": file, "NPROC": processes, "CORE": 0, "NOFILE": 512}
    for name, most in bounds.items():
        which = getattr(resource, f"RLIMIT_{name}")
        _, hard = resource.getrlimit(which)
        most = most if hard == resource.RLIM_INFINITY else min(most, hard)
        resource.setrlimit(which, (most, most))
    if uid:
        os.setgroups([])
        os.setresgid(uid, uid, uid)
        os.setresuid(uid, uid, uid)
    if refused:
        calls.refuse()
    os.umask(0o077)
    os.execv(sys.executable, [sys.executable, *arguments[7:]])


if __name__ == "__main__":
    _main(sys.argv[1:])
