"""The worker: takes checks from the queue and runs each file in a fenced child process.

`tasks` (thin Celery tasks) → `check_run` (one check) → `zygote_client` → `zygote` (a warm process,
one a worker) → `child` (forked for one file, behind `fence`). Only the zygote and its children
import readers, kernels and rules.
"""
