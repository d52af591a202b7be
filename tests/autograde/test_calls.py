"""The calls that are refused behind the fence, by a warm interpreter as by a kernel, as root's child and as anybody's."""

import errno
import os
import struct

import pytest

from autograde import fence as fences
from autograde.behind.calls import program
from autograde.fence import fence, why_no_fence
from autograde.kernel_run import kernel_run
from autograde.warm import Warm

WHY_NOT = why_no_fence()
WHO = ("made-for-tests", "amara")
NEW_USER, THREAD, END_SIGNAL = 0x10000000, 0x003D0F00, 17  # sched.h; a thread as glibc makes one
# Linux 6.1: arch/x86/entry/syscalls/syscall_64.tbl and include/uapi/asm-generic/unistd.h
NUMBERS = {
    "x86_64": {
        "own": 0xC000003E,
        "clone": 56,
        "clone3": 435,
        "refused": [248, 249, 250, 272, 308, 101, 310, 311, 438, 321, 298, 323, 425, 426, 427],
        "ordinary": [0, 1, 9, 39, 57, 58, 59, 61, 62, 202, 231, 257, 434],
    },
    "aarch64": {
        "own": 0xC00000B7,
        "clone": 220,
        "clone3": 435,
        "refused": [217, 218, 219, 97, 268, 117, 270, 271, 438, 280, 241, 282, 425, 426, 427],
        "ordinary": [63, 64, 56, 93, 94, 98, 172, 221, 222, 260, 434],
    },
}
ALLOWED, REFUSED, UNKNOWN = 0x7FFF0000, 0x00050000 | errno.EPERM, 0x00050000 | errno.ENOSYS


def _answer(steps, machine, number, first=0):
    """What the filter says of one call: classic BPF as far as the filter uses it (Linux' networking/filter)."""
    data = struct.pack("=IIQ6Q", number, machine, 0, first, *[0] * 5)
    place, held = 0, 0
    while True:
        code, so, otherwise, value = struct.unpack_from("HBBI", steps, 8 * place)
        if code == 0x06:
            return value
        if code == 0x20:
            held = struct.unpack_from("=I", data, value)[0]
        else:
            test = {0x15: held == value, 0x35: held >= value, 0x45: bool(held & value)}[code]
            place += so if test else otherwise
        place += 1


@pytest.mark.parametrize("name", NUMBERS)
def test_the_filter_refuses_these_calls_and_no_others(name):
    steps, asked = program(name), NUMBERS[name]
    own = asked["own"]
    assert {_answer(steps, own, number) for number in asked["refused"]} == {REFUSED}
    assert {_answer(steps, own, number) for number in asked["ordinary"]} == {ALLOWED}
    assert _answer(steps, own, asked["clone3"]) == UNKNOWN
    for flag in (0x00020000, 0x02000000, 0x04000000, 0x08000000, NEW_USER, 0x20000000, 0x40000000):
        assert _answer(steps, own, asked["clone"], flag | END_SIGNAL) == REFUSED
    assert {_answer(steps, own, asked["clone"], flags) for flags in (THREAD, END_SIGNAL, 0x01200011)} == {ALLOWED}
    assert _answer(steps, own, 0x40000000 + asked["ordinary"][0]) == REFUSED
    assert _answer(steps, 0x40000003, asked["ordinary"][0]) == REFUSED  # i386
    assert program("a machine of another kind") == b""


@pytest.fixture(params=["as I am", "as an ordinary user"])
def user(request, monkeypatch):
    if request.param == "as an ordinary user" and os.geteuid() == 0:
        monkeypatch.setattr(fences.os, "geteuid", lambda: 1000)


def _by_a_warm_interpreter(task):
    warm = Warm(fence())
    try:
        return warm.run(task)
    finally:
        warm.close()


ROADS = {"warm": _by_a_warm_interpreter, "kernel": lambda task: kernel_run(task, fence())}


@pytest.mark.skipif(bool(WHY_NOT), reason=WHY_NOT or "bubblewrap is there")
@pytest.mark.parametrize("road", ROADS)
def test_no_key_and_no_namespace_can_be_made_and_programs_and_threads_can(user, road):
    """Keyrings are in no namespace: a user's and a session's would go on to the next fork, or be the instructor's."""
    code = f"""
import ctypes, json, os, subprocess, threading
libc, done = ctypes.CDLL(None, use_errno=True), []
add, keyctl, clone = {{"x86_64": (248, 250, 56), "aarch64": (217, 219, 220)}}[os.uname().machine]
def call(*arguments):
    made = libc.syscall(*arguments)
    if made == 0 and arguments[0] == clone:
        os._exit(0)
    done.append([made, ctypes.get_errno()])
for ring in (-3, -4, -5):
    call(add, b"user", b"note", b"hello", 5, ring)
call(keyctl, 0, -3, 0)
call(clone, {NEW_USER | END_SIGNAL}, 0, 0, 0, 0)
done.append([libc.unshare({NEW_USER}), ctypes.get_errno()])
done.append([libc.setns(os.open("/proc/self/ns/user", os.O_RDONLY), 0), ctypes.get_errno()])
call(435, 0, 0)
heard = [subprocess.run(["echo", "program"], capture_output=True, text=True).stdout.strip()]
thread = threading.Thread(target=heard.append, args=("thread",))
thread.start(); thread.join()
print(json.dumps([done, heard]))"""
    (shown,) = ROADS[road]({"who": WHO, "cells": [[0, code, "c0", False]]})["cells"]["0"]["outputs"]
    refused = [[-1, errno.EPERM]] * 7 + [[-1, errno.ENOSYS]]
    assert shown.get("text", shown) == f'[{refused}, ["program", "thread"]]\n'
