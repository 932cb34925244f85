"""Edits to the mapping of an investigation file, made in place so that its comments stay.

These functions write; whether the whole then makes sense (no loops, no dangling names, limits with
a source) is checked by `rca.causes.case.parsing.parse_investigation`, as for a file written by
hand.
"""

import re
import unicodedata
from collections.abc import Mapping, Sequence
from typing import Any

from rca.causes.case.entries import NOT_CAUGHT, PROBLEM, SOMETHING_ELSE
from rca.causes.case.gate_edits import joined, together, without
from rca.causes.case.parsing import SECTIONS
from rca.errors import RcaError
from rca.records.commented import add_entry, as_yaml, in_one_line, remove_entry, section_of
from rca.records.files import yaml_text
from rca.records.schema import did_you_mean

LEFT_OUT_OF_NAMES = """
a an the of in on at to is was are were and or not with by for its it that this too
"""
WORDS_IN_NAME = 4


def new_investigation(name: str, statement: str, *, title: str = "", part: str = "") -> str:
    """Return the text of a new investigation that states its problem and nothing else."""
    head = {"investigation": name, "title": title, "part": part}
    kept = {key: value for key, value in head.items() if value}
    return yaml_text({**kept, "problem": {"statement": statement}})


def new_name(data: Any, text: str, *, otherwise: str = "entry") -> str:
    """Make a short name for an entry from its sentence, one that is not used yet."""
    plain = unicodedata.normalize("NFKD", text).encode("ascii", "ignore").decode().lower()
    words = [
        word for word in re.findall(r"[a-z0-9]+", plain) if word not in LEFT_OUT_OF_NAMES.split()
    ]
    name = "-".join(words[:WORDS_IN_NAME])[:40].strip("-") or otherwise
    used = {PROBLEM, NOT_CAUGHT, SOMETHING_ELSE}
    used |= {str(key) for section in SECTIONS for key in data.get(section) or {}}
    number, found = 1, name
    while found in used:
        number += 1
        found = f"{name}-{number}"
    return found


def set_problem(data: Any, values: Mapping[str, Any]) -> None:
    """Write what is known of the problem; `purpose`, `part` and the like go to the head.

    A blank value takes the entry away; `what`, `where`, `when` and `how_much` are pairs of what is
    and what is not.
    """
    head = ("title", "purpose", "unit", "part", "mode", "opened", "currency")
    for key, value in values.items():
        _set(data if key in head else data["problem"], key, value)


def add_cause(
    data: Any,
    says: str,
    *,
    layer: str,
    effect: str,
    needed_together: bool = False,
    branch: str = "",
    stop: str = "",
) -> str:
    """Add an answer to "why": a cause that leads to `effect`; return its name.

    With `needed_together` it acts only together with the causes that stand there already (AND),
    else it is another way for the effect to come about (OR).
    """
    name = new_name(data, _said(says, "what the cause is"), otherwise="cause")
    body = {"says": says.strip(), "layer": layer, "branch": branch, "stop": stop.strip()}
    holder, key = _gate_place(data, effect)
    add_entry(section_of(data, "causes"), name, {k: v for k, v in body.items() if v})
    _set(holder, key, joined(holder.get(key), name, word="all" if needed_together else "any"))
    return name


def set_cause(data: Any, cause: str, values: Mapping[str, Any]) -> None:
    """Change the wording of a cause: says, layer, branch, stop, check, also_on_good_units."""
    body = _entry(data, "causes", cause)
    for key, value in values.items():
        _set(body, key, value)


def join_causes(data: Any, effect: str, causes: Sequence[str], *, word: str) -> None:
    """Mark causes of one effect as needed together (`all`, AND) or each enough (`any`, OR)."""
    holder, key = _gate_place(data, effect)
    _set(holder, key, together(holder.get(key), causes, word=word))


def move_cause(data: Any, cause: str, *, away_from: str, to: str) -> None:
    """Let a cause lead to another effect; with "" as `away_from` it leads there too.

    With "" as `to` it only no longer leads to `away_from`. Evidence on the link goes with it.
    """
    if away_from == to:
        raise RcaError(f"{cause} leads to {to} already", next_step="choose another place for it")
    _entry(data, "causes", cause)
    if to:
        holder, key = _gate_place(data, to)
        _set(holder, key, joined(holder.get(key), cause, word="any"))
    if away_from:
        holder, key = _gate_place(data, away_from)
        _set(holder, key, without(holder.get(key), cause))
        _rename_link(data, f"{cause} -> {away_from}", f"{cause} -> {to}" if to else "")


def remove_cause(data: Any, cause: str) -> None:
    """Remove a cause to which nothing leads and which nothing else names.

    Raises
    ------
    RcaError
        Something still names it; says what.
    """
    body = _entry(data, "causes", cause)
    if body.get("because") is not None:
        step = "move or remove the causes below it first"
        raise RcaError(f"{cause} has causes of its own", next_step=step)
    named = [*_naming(data, cause)]
    if named:
        step = "change these first"
        raise RcaError(f"{cause} is still named by {', '.join(named)}", next_step=step)
    for effect in (PROBLEM, NOT_CAUGHT, *data["causes"]):
        holder, key = _gate_place(data, effect)
        _set(holder, key, without(holder.get(key), cause, must=False))
    remove_entry(data["causes"], cause)


def add_measurement(data: Any, quantity: str, *, unit: str, **more: Any) -> str:
    """Add something to measure; return its name.

    `more` are keys of the file: at_least, at_most, limit_source, standard_uncertainty,
    instrument, range, state, direction, needs; blank ones are left out.
    """
    name = new_name(data, _said(quantity, "what is measured"), otherwise="measurement")
    body = {"quantity": quantity.strip(), "unit": unit.strip(), **more}
    kept = {key: value for key, value in body.items() if value not in ("", None)}
    add_entry(section_of(data, "measurements"), name, kept)
    return name


def attach_measurement(
    data: Any,
    measurement: str,
    *,
    proves: str,
    causes: Sequence[str] = (),
    against: Sequence[str] = (),
    shows: str = "",
    when: str = "as found",
    if_true: Mapping[str, str] | None = None,
) -> str:
    """Let a reading speak for or against causes: evidence that is judged by its limit."""
    body = _entry(data, "measurements", measurement)
    shows = shows.strip() or f"{body['quantity']} is {proves}"
    detail = {"measurement": measurement, "proves": proves}
    if when != "as found":
        detail["when"] = when
    return _add_evidence(data, "measured", shows, detail, causes, against, if_true)


def attach_claim(
    data: Any,
    claim: Mapping[str, Any],
    *,
    shows: str,
    causes: Sequence[str] = (),
    against: Sequence[str] = (),
    if_true: Mapping[str, str] | None = None,
) -> str:
    """Let a claim on the records, computed again at every run, speak for or against causes."""
    kept = {key: value for key, value in claim.items() if value not in ("", None)}
    shows = _said(shows, "what the claim shows")
    return _add_evidence(data, "recorded", shows, {"claim": kept}, causes, against, if_true)


def add_test(data: Any, does: str, *, cost: float, would_show: Mapping[str, str]) -> str:
    """Add a test that could be done, with what it would show if each cause were the true one."""
    name = new_name(data, _said(does, "what the test does"), otherwise="test")
    body = {"does": does.strip(), "cost": cost, "would_show": in_one_line(dict(would_show))}
    add_entry(section_of(data, "tests"), name, body)
    return name


def _add_evidence(
    data: Any,
    kind: str,
    shows: str,
    detail: Mapping[str, Any],
    causes: Sequence[str],
    against: Sequence[str],
    if_true: Mapping[str, str] | None,
) -> str:
    name = new_name(data, shows, otherwise="evidence")
    body: dict[str, Any] = {"kind": kind, "shows": shows, **detail}
    for key, named in (("for", causes), ("against", against)):
        if named:
            body[key] = named[0] if len(named) == 1 else list(named)
    if if_true:
        body["if_true"] = in_one_line(dict(if_true))
    add_entry(section_of(data, "evidence"), name, body)
    return name


def _said(text: str, what: str) -> str:
    if not text.strip():
        raise RcaError(f"{what} is not filled in", next_step="write it as a full sentence")
    return text.strip()


def _entry(data: Any, section: str, name: str) -> Any:
    held = data.get(section) or {}
    if name not in held:
        step = did_you_mean(name, map(str, held))
        raise RcaError(f"there is no {name!r} under {section}", next_step=step)
    return held[name]


def _gate_place(data: Any, effect: str) -> tuple[Any, str]:
    """Holder and key of what leads to an effect."""
    if effect == PROBLEM:
        return data["problem"], "because"
    if effect == NOT_CAUGHT:
        return data["problem"], "not_caught_because"
    return _entry(data, "causes", effect), "because"


def _set(holder: Any, key: str, value: Any) -> None:
    """Set an entry; a blank value takes it away, and what is as it was is not touched."""
    if value in ("", None, []) or value == {}:
        if key in holder:
            remove_entry(holder, key)
    elif key not in holder:
        add_entry(holder, key, value)
    elif holder[key] != value or holder[key] is not value:
        holder[key] = as_yaml(value)


def _rename_link(data: Any, old: str, new: str) -> None:
    """Let evidence on a link speak about the link that replaces it, or about the cause alone."""
    new = new or old.partition(" -> ")[0]
    for one in (data.get("evidence") or {}).values():
        for key in ("for", "against"):
            named = one.get(key)
            if named == old:
                one[key] = new
            elif isinstance(named, list) and old in named:
                if new in named:
                    named.remove(old)
                else:
                    named[named.index(old)] = new


def _naming(data: Any, cause: str) -> list[str]:
    """Entries other than links that name a cause."""
    found = []
    for section in ("evidence", "tests", "fixes"):
        for name, one in (data.get(section) or {}).items():
            named = [one.get(key) for key in ("for", "against", "cause", "if_true", "would_show")]
            texts = [text for held in named if held for text in _texts(held)]
            if any(text == cause or cause in text.split(" -> ") for text in texts):
                found.append(f"{name} ({section})")
    conclusion = data.get("conclusion") or {}
    if cause in _texts(conclusion.get("cause") or ()):
        found.append("the conclusion")
    return found


def _texts(held: Any) -> list[str]:
    return [held] if isinstance(held, str) else [str(one) for one in held]
