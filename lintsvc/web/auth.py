"""Who is asking, and from where.

Without tokens (one person, loopback) everything belongs to the owner "". With tokens a check belongs
to the token that made it; another token's check is "not found", whoever asks.
There are no cookies. What a foreign page could make a browser send without them, a plain form to a
service on loopback, is refused by its origin.
"""

from __future__ import annotations

from dataclasses import dataclass
from urllib.parse import urlsplit

from flask import g, request

from lintsvc.store import shares
from lintsvc.store.checks import Check, read_check
from lintsvc.store.tokens import token_of
from lintsvc.web.problems import Problem
from lintsvc.web.services import services

SHARE_HEADER, SHARE_FIELD = "Lintsvc-Share", "share"
_SAFE_METHODS = frozenset({"GET", "HEAD", "OPTIONS"})
_LOOPBACK = frozenset({"localhost", "127.0.0.1", "::1"})


@dataclass(frozen=True, slots=True)
class Asker:
    """Whoever made the request. `owner` None: sees everybody's."""

    id: str
    scopes: frozenset[str]

    @property
    def owner(self) -> str | None:
        """Whose checks they see."""
        return None if "admin" in self.scopes and self.id else self.id


_ALONE = Asker("", frozenset({"check", "read", "admin"}))


def bearer(authorization: str) -> str:
    """Return the secret of an Authorization header, empty when it has none."""
    scheme, _, secret = authorization.partition(" ")
    return secret.strip() if scheme.lower() == "bearer" else ""


def asker(scope: str) -> Asker:
    """Return who asks. Raises Problem when a token is needed and there is none that may do this."""
    found: Asker | None = g.get("asker")
    if found is None:
        found = g.asker = _find()
    if scope not in found.scopes and "admin" not in found.scopes and not (scope == "read" and "check" in found.scopes):
        raise Problem("forbidden", f"this token may not do that; it needs the scope {scope!r}")
    return found


def _find() -> Asker:
    here = services()
    secret = bearer(request.headers.get("Authorization", ""))
    if not here.tokens_needed:
        return _ALONE
    headers = {"WWW-Authenticate": 'Bearer realm="lintsvc"'}
    if not secret:
        raise Problem("unauthorised", "send a token as 'Authorization: Bearer …'", headers=headers)
    token = token_of(here.db, secret)
    if token is None:
        raise Problem("unauthorised", "this token is not known, has expired or was revoked", headers=headers)
    return Asker(token.id, token.scopes)


def visible_check(check_id: str, scope: str = "read") -> Check:
    """Return a check that the asker may see, by token or by share link. Raises Problem."""
    here = services()
    share = request.headers.get(SHARE_HEADER) or request.args.get(SHARE_FIELD, "")
    check = read_check(here.db, check_id) if len(check_id) <= 64 else None
    if share and scope == "read" and check is not None and shares.opens(here.db, share, check_id):
        return check
    who = asker(scope)
    # The same answer for another's as for none: an id says nothing about what exists.
    if check is None or (who.owner is not None and check.owner != who.owner):
        raise Problem("not-found", "there is no check with this id; it may have been deleted or have expired")
    return check


def refuse_foreign() -> None:
    """Refuse requests that a page of another site made a browser send. Raises Problem."""
    here = services()
    host = request.host.rpartition(":")[0] if request.host.rpartition(":")[2].isdigit() else request.host
    host = host.lower()
    allowed = {x.strip().lower() for x in here.settings.origins.split(",") if x.strip()}
    known = _LOOPBACK | {f"[{x}]" for x in _LOOPBACK} | allowed
    # A name of the attacker's that points at loopback: only without tokens is that of any use to them.
    if (allowed or not here.tokens_needed) and host not in known:
        raise Problem("wrong-origin", f"this service is not reached as {host!r}; LINTSVC_ORIGINS names its hosts")
    if request.method in _SAFE_METHODS:
        return
    origin = request.headers.get("Origin")
    if origin is not None and urlsplit(origin).netloc != request.host:
        raise Problem("wrong-origin", "only the service's own page may send this")
    if request.headers.get("Sec-Fetch-Site", "none") not in ("none", "same-origin"):
        raise Problem("wrong-origin", "only the service's own page may send this")
