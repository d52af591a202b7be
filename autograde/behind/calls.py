"""The calls that the kernel refuses behind the fence, on both its roads: a short list, each group with its reason.

What needs a right (mounts, modules, another kernel) is not in it: no right is left, and no new user namespace, in
which one would have them all again, can be made. Standard library only; classic BPF as in Linux' ``seccomp(2)``.
"""

import ctypes
import errno
import os
import struct

__all__ = ["program", "refuse"]

_GROUPS = {
    "keyrings: kept for a user or a session, in no namespace": ("add_key", "request_key", "keyctl"),
    "namespaces: in one of its own a process has every right": ("unshare", "setns"),
    "the memory and files of other processes": ("ptrace", "process_vm_readv", "process_vm_writev", "pidfd_getfd"),
    "wide doors into the kernel that need no right": ("bpf", "perf_event_open", "userfaultfd"),
    "calls made by the kernel, past every filter": ("io_uring_setup", "io_uring_enter", "io_uring_register"),
}
_X86_64 = {
    "add_key": 248, "request_key": 249, "keyctl": 250, "unshare": 272, "setns": 308, "ptrace": 101,
    "process_vm_readv": 310, "process_vm_writev": 311, "bpf": 321, "perf_event_open": 298, "userfaultfd": 323,
    "clone": 56,
}  # fmt: skip
_AARCH64 = {
    "add_key": 217, "request_key": 218, "keyctl": 219, "unshare": 97, "setns": 268, "ptrace": 117,
    "process_vm_readv": 270, "process_vm_writev": 271, "bpf": 280, "perf_event_open": 241, "userfaultfd": 282,
    "clone": 220,
}  # fmt: skip
_EVERYWHERE = {
    "io_uring_setup": 425, "io_uring_enter": 426, "io_uring_register": 427, "clone3": 435, "pidfd_getfd": 438,
}  # fmt: skip
_MACHINES = {"x86_64": (0xC000003E, _X86_64 | _EVERYWHERE), "aarch64": (0xC00000B7, _AARCH64 | _EVERYWHERE)}
_NEW_NAMESPACES = 0x7E020000  # CLONE_NEWNS, NEWCGROUP, NEWUTS, NEWIPC, NEWUSER, NEWPID, NEWNET
_OTHER_NUMBERS = 0x40000000  # where x86_64 has its calls a second time, for 32-bit pointers
_LOAD, _IS, _IS_AT_LEAST, _HAS, _END = 0x20, 0x15, 0x35, 0x45, 0x06
_NUMBER, _MACHINE, _FIRST_ARGUMENT = 0, 4, 16
_ENDS = {"refused": 0x00050000 | errno.EPERM, "unknown": 0x00050000 | errno.ENOSYS, "allowed": 0x7FFF0000}
_NO_NEW_PRIVILEGES, _NO_MORE_CALLS, _BY_FILTER = 38, 22, 2


def program(machine):
    """Return the filter for ``machine`` (as `os.uname` names it) as bytes, or b"" where none is known.

    The flags of clone3 lie in memory, where no filter can read them: it is answered as by a kernel without it, and the
    C library then uses clone.
    """
    if machine not in _MACHINES:
        return b""
    own, numbers = _MACHINES[machine]
    steps = [
        (_LOAD, _MACHINE),
        (_IS, own, None, "refused"),
        (_LOAD, _NUMBER),
        (_IS_AT_LEAST, _OTHER_NUMBERS, "refused"),
    ]
    steps += [(_IS, numbers[name], "refused") for names in _GROUPS.values() for name in names]
    steps += [(_IS, numbers["clone3"], "unknown"), (_IS, numbers["clone"], None, "allowed")]
    steps += [(_LOAD, _FIRST_ARGUMENT), (_HAS, _NEW_NAMESPACES, "refused", "allowed")]
    places = {name: len(steps) + place for place, name in enumerate(_ENDS)}
    steps += [(_END, end) for end in _ENDS.values()]
    return b"".join(_step(place, places, *step) for place, step in enumerate(steps))


def refuse():
    """From now on refuse these calls to this process and to all that it starts; raises OSError where that fails."""
    steps = program(os.uname().machine)
    if not steps:
        return
    libc, kept = ctypes.CDLL(None, use_errno=True), ctypes.create_string_buffer(steps, len(steps))
    told = ctypes.create_string_buffer(struct.pack("HP", len(steps) // 8, ctypes.addressof(kept)))
    if libc.prctl(_NO_NEW_PRIVILEGES, 1, 0, 0, 0) or libc.prctl(_NO_MORE_CALLS, _BY_FILTER, told, 0, 0):
        raise OSError(ctypes.get_errno(), "seccomp")


def _step(place, places, code, value, so=None, otherwise=None):
    """A jump counts from the step after it; none goes on there."""
    jumps = (places[end] - place - 1 if end else 0 for end in (so, otherwise))
    return struct.pack("HBBI", code, *jumps, value)
