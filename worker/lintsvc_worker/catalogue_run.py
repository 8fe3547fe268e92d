"""At the start of a worker: ask the warm process for the catalogue of rules, and store it for the web."""

from __future__ import annotations

import json
import logging

from lintsvc.store import keeping
from lintsvc_worker import child
from lintsvc_worker.check_run import limits_of, scratch_folder
from lintsvc_worker.context import Context
from lintsvc_worker.made import last_words
from lintsvc_worker.result import read_made
from lintsvc_worker.zygote_client import CannotWarmUp

log = logging.getLogger(__name__)

FACT = "catalogue"


def store_catalogue(context: Context) -> None:
    """Store the catalogue, and with it which parts of the fence stand."""
    with scratch_folder(context) as scratch:
        ended = context.zygote.run({"task": "catalogue"}, scratch, limits_of(context), lambda _: None, lambda: True)
        if ended.how != "done":
            raise CannotWarmUp(f"the warm process cannot run a child ({ended.how}){last_words(scratch)}")
        told = json.loads(read_made(scratch / child.CATALOGUE))
    # The warm process's own: files may have changed between its loading and this child's look at them.
    told["version"] = context.version
    log.info("fence: %s; %d rules, version %s", told["fence"], len(told["rules"]), told["version"])
    keeping.set_fact(context.db, FACT, told)
