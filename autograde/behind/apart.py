"""A fork of the warm interpreter leaves everything behind: other processes, other learners' files, every right.

Linux only, by its C library: namespaces of its own (mounts, processes, System V memory, host name, network), fresh
folders in memory, then bounds, then no rights at all, and fewer calls. Standard library only.
"""

import ctypes
import os
import resource
import signal

from . import calls

__all__ = ["FOLDERS", "Terms", "leave"]

_NEW = {"mount": 0x00020000, "host": 0x04000000, "ipc": 0x08000000, "process": 0x20000000, "network": 0x40000000}
_READ_ONLY, _NOSUID, _NODEV, _NOEXEC, _REMOUNT = 1, 2, 4, 8, 32
_BIND, _RECURSIVE, _PRIVATE = 1 << 12, 1 << 14, 1 << 18
_DIE_WITH_PARENT = 1
_SET_SECUREBITS, _DROP_BOUND, _NO_NEW_PRIVILEGES, _AMBIENT, _CLEAR_ALL = 28, 24, 38, 47, 4
_ROOT_IS_NOBODY = 0b101111  # NOROOT, NO_SETUID_FIXUP off, KEEP_CAPS off; each of them locked
_CAPABILITY_VERSION_3 = 0x20080522
FOLDERS = ("/tmp", "/dev/shm")
_SETTINGS = (b"/proc/sys", b"/proc/sysrq-trigger", b"/proc/irq", b"/proc/bus")
_libc = ctypes.CDLL(None, use_errno=True)


class Terms:
    """What a fork may use: its ``desk``, whole numbers (``uid`` 0 = stay), and the places shown inside the fresh folders."""

    def __init__(self, desk, uid, cpu_seconds, memory_bytes, file_bytes, processes, desk_bytes, *shown):
        self.desk, self.uid, self.desk_bytes, self.shown = desk, int(uid), int(desk_bytes), shown
        self.bounds = {
            "CPU": int(cpu_seconds),
            "AS": int(memory_bytes),
            "FSIZE": int(file_bytes),
            "NPROC": int(processes),
            "CORE": 0,
            "NOFILE": 512,
        }


def leave(terms, slot, run, fd):
    """Run ``run()`` in a process apart and return when it, and everything that it started, has ended.

    Called in a fork of its own. The first process of the new namespace only waits: when it ends, or is ended from
    outside, the kernel ends whatever the submission has left running. ``slot`` tells forks that run side by side
    apart; ``fd``, on which ``run`` answers, is left to it alone.
    """
    _check(_libc.unshare(sum(_NEW.values())), "unshare")
    first = os.fork()
    if first == 0:
        _first(terms, slot, run, fd)
    os.waitpid(first, 0)


def _first(terms, slot, run, fd):
    try:
        _check(_libc.prctl(_DIE_WITH_PARENT, signal.SIGKILL, 0, 0, 0), "die with parent")
        _mounts(terms)
        one = os.fork()
        if one == 0:
            _last(terms, slot, run)
        os.close(fd)
        while os.waitpid(-1, 0)[0] != one:
            pass
    finally:
        os._exit(0)


def _last(terms, slot, run):
    try:
        for name, most in terms.bounds.items():
            _bound(getattr(resource, f"RLIMIT_{name}"), most)
        _give_up_rights(terms.uid and terms.uid + slot)
        os.setsid()
        os.umask(0o077)
        os.chdir(terms.desk)
        run()
    finally:
        os._exit(0)


def _mounts(terms):
    os.umask(0o022)
    _mount(b"none", b"/", b"", _RECURSIVE | _PRIVATE)
    _mount(b"proc", b"/proc", b"proc", _NOSUID | _NODEV | _NOEXEC)
    shown = {place: os.open(place, os.O_PATH) for place in terms.shown}
    options = f"mode=1777,size={terms.desk_bytes},nr_inodes=20000".encode()
    for place in (*FOLDERS, terms.desk):
        _mount(b"tmpfs", place.encode(), b"tmpfs", _NOSUID | _NODEV, options)
    for place, kept in shown.items():
        os.makedirs(place, 0o755, exist_ok=True)
        _mount(f"/proc/self/fd/{kept}".encode(), place.encode(), b"", _BIND | _RECURSIVE)
        os.close(kept)
    for place in _SETTINGS:
        if os.path.exists(place):
            _mount(place, place, b"", _BIND)
            _mount(b"", place, b"", _BIND | _REMOUNT | _READ_ONLY | _NOSUID | _NODEV | _NOEXEC)


def _bound(which, most):
    _, hard = resource.getrlimit(which)
    most = most if hard == resource.RLIM_INFINITY else min(most, hard)
    resource.setrlimit(which, (most, most))


def _give_up_rights(uid):
    """Every capability goes, for this process and for every program it may start, and with them root's account."""
    _first_to_die()
    _check(_libc.prctl(_NO_NEW_PRIVILEGES, 1, 0, 0, 0), "no new privileges")
    _check(_libc.prctl(_SET_SECUREBITS, _ROOT_IS_NOBODY, 0, 0, 0), "securebits")
    number = 0
    while _libc.prctl(_DROP_BOUND, number, 0, 0, 0) == 0:
        number += 1
    _check(_libc.prctl(_AMBIENT, _CLEAR_ALL, 0, 0, 0), "ambient capabilities")
    if uid:
        os.setgroups([])
        os.setresgid(uid, uid, uid)
        os.setresuid(uid, uid, uid)
    header = (ctypes.c_uint32 * 2)(_CAPABILITY_VERSION_3, 0)
    _check(_libc.capset(header, (ctypes.c_uint32 * 6)()), "capset")
    calls.refuse()
    signal.signal(signal.SIGINT, signal.default_int_handler)


def _first_to_die():
    """Where memory runs out all the same, the computer takes it back here first."""
    try:
        with open("/proc/self/oom_score_adj", "w") as file:
            file.write("1000")
    except OSError:
        return


def _mount(source, place, kind, flags, options=b""):
    _check(_libc.mount(source, place, kind, ctypes.c_ulong(flags), options), f"mount {place.decode()}")


def _check(failed, what):
    if failed:
        number = ctypes.get_errno()
        raise OSError(number, f"{what}: {os.strerror(number)}")
