"""What runs behind the fence: a warm interpreter from which every submission gets a fork of its own.

`zygote` imports what lessons need and waits. For each submission it forks; the fork goes `apart` from everything
(namespaces, a fresh desk, bounds, no rights), and only then does its `shell` read and run the learner's cells.
What it shows goes out as `frames`. Nothing here is secret: learners' code can read it.
"""
