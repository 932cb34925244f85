"""What is new since the last run and needs a person; each thing has a key, so it is told once."""

from collections.abc import Iterator, Mapping
from typing import Any

from rca.causes.since_last.changes import newly_blocked

Summary = Mapping[str, Any]


def what_needs_a_person(now: Summary, last: Summary | None) -> list[dict[str, str]]:
    """List a changed answer on a fix, a cause that lost its support, a result newly blocked, a
    repeat on a safety-critical part; each with key and says.

    Parameters
    ----------
    now
        Summary of this run, its fixes compared with the last run (`changed_from`).
    last
        Summary of the last run; in a first run only safety-critical repeats are new.
    """
    return [
        {"key": key, "says": says}
        for key, says in (
            *_fixes(now),
            *_causes(now, last),
            *_blocked(now, last),
            *_repeats(now, last),
        )
    ]


def _fixes(now: Summary) -> Iterator[tuple[str, str]]:
    for fix in now["fixes"]:
        old = fix["changed_from"]
        if not old:
            continue
        said = []
        if old["effect"] != fix["effect"]:
            said.append(f"{old['effect']} became {fix['effect']}")
        if old["cause_answer"] != fix["cause_answer"]:
            said.append(f"cause {old['cause_answer']} became {fix['cause_answer']}")
        key = f"fix|{fix['fix']}|{fix['effect']}|{fix['cause_answer']}"
        yield key, f"{fix['fix']} ({fix['part']}): {', '.join(said)}"


def _causes(now: Summary, last: Summary | None) -> Iterator[tuple[str, str]]:
    before = {
        (one["investigation"], one["cause"]): one["supported"]
        for one in (last or {}).get("causes", [])
    }
    for one in now["causes"]:
        if before.get((one["investigation"], one["cause"])) and not one["supported"]:
            key = f"cause|{one['investigation']}|{one['cause']}"
            yield key, f"no longer supported: {one['says']} ({one['why_not']})"


def _blocked(now: Summary, last: Summary | None) -> Iterator[tuple[str, str]]:
    for one in newly_blocked(now, last) if last else ():
        says = f"can no longer be answered: {one['result']} ({one['reason']})"
        yield f"blocked|{one['result']}", says


def _repeats(now: Summary, last: Summary | None) -> Iterator[tuple[str, str]]:
    before = {one["key"] for one in (last or {}).get("safety_repeats", [])}
    for one in now["safety_repeats"]:
        if one["key"] not in before:
            yield f"repeat|{one['key']}", f"safety-critical: {one['says']}"
