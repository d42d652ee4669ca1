"""Who writes, when, why and under which request."""

from dataclasses import dataclass
from datetime import datetime

from hvmon.store.errors import Refused
from hvmon.store.plan import to_us


@dataclass(frozen=True, slots=True)
class Stamp:
    """Who writes, when and under which request; `brief` events keep a digest of the content."""

    actor: str
    request_id: str
    at_us: int
    reason: str = ""
    brief: bool = False


def needed(text: str, what: str) -> str:
    """Give the text back; refuse an empty one."""
    if not text.strip():
        raise Refused(f"A {what} is needed. Nothing was saved.")
    try:
        text.encode()
    except UnicodeEncodeError:
        raise Refused(f"The {what} holds half a character; type plain text. Nothing was saved.") from None
    return text


def aware(now: datetime) -> datetime:
    """Give the moment back; refuse one without offset."""
    if now.utcoffset() is None:
        raise Refused("The moment of saving needs its offset, such as 2026-03-01T10:30+00:00.")
    return now


def stamp(actor: str, request_id: str, now: datetime, reason: str = "", *, brief: bool = False) -> Stamp:
    """Check and bundle who writes, when, why and under which request; raises Refused."""
    needed(actor, "name of the person who saves")
    needed(request_id, "request id")
    if reason:
        needed(reason, "reason")
    return Stamp(actor, request_id, to_us(aware(now)), reason, brief)
