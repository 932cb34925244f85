"""Additions to data from a commented YAML file that leave each comment where it belongs.

The YAML library keeps a comment at the entry before it. A comment above the next section thus
hangs on the last entry of this one, and would stay above whatever is added there; so it is handed
on to the new last entry. Comments beside an entry stay with it.
"""

from collections.abc import Mapping
from typing import Any

from ruamel.yaml.comments import CommentedMap, CommentedSeq
from ruamel.yaml.error import CommentMark
from ruamel.yaml.tokens import CommentToken


def section_of(data: Any, name: str) -> Any:
    """Return a section of a file (a mapping), made where it is missing or blank."""
    if not data.get(name):
        if name in data:
            data[name] = CommentedMap()
        else:
            add_entry(data, name, {})
    return data[name]


def add_entry(section: Any, key: str, value: Any) -> None:
    """Add an entry at the end of a mapping; comments below the mapping stay below it."""
    below = _cut_below(_last_leaf(section))
    section[key] = as_yaml(value)
    _put_below(_last_leaf(section), below)


def add_item(held: Any, value: Any) -> None:
    """Add an item at the end of a list; comments below the list stay below it."""
    below = _cut_below(_last_leaf(held))
    held.append(as_yaml(value))
    _put_below(_last_leaf(held), below)


def as_yaml(value: Any) -> Any:
    """Return plain data as it is to be written: mappings in lines, short lists in brackets."""
    if isinstance(value, CommentedMap | CommentedSeq):
        return value
    if isinstance(value, Mapping):
        return CommentedMap((key, as_yaml(one)) for key, one in value.items())
    if isinstance(value, list | tuple):
        held = CommentedSeq(as_yaml(one) for one in value)
        held.fa.set_flow_style()
        return held
    return value


def in_one_line(value: Mapping[str, Any]) -> CommentedMap:
    """Return a small mapping that is written in braces, on one line."""
    held: CommentedMap = as_yaml(value)
    held.fa.set_flow_style()
    return held


def remove_entry(section: Any, key: str) -> None:
    """Remove an entry of a mapping; what stands on the lines below it stays."""
    keys = list(section)
    place = keys.index(key)
    below = _cut_below(_leaf(section, key)) if isinstance(section, CommentedMap) else ""
    del section[key]
    if below and place:
        leaf = _leaf(section, keys[place - 1])
        _put_below(leaf, _cut_below(leaf) + below)
    elif below and len(keys) > 1:
        text = "\n".join(line.strip().removeprefix("#").strip() for line in below.splitlines())
        section.yaml_set_comment_before_after_key(keys[1], before=text)


Leaf = tuple[Any, Any]
"""Holder and key (or place) of an entry that stands on lines of its own."""


def _leaf(holder: Any, key: Any) -> Leaf:
    """Find the last entry within an entry: the one after which its last line ends."""
    held = holder[key]
    while isinstance(held, CommentedMap | CommentedSeq) and held and not held.fa.flow_style():
        holder, key = held, list(held)[-1] if isinstance(held, CommentedMap) else len(held) - 1
        held = holder[key]
    return holder, key


def _last_leaf(held: Any) -> Leaf | None:
    """Find the last entry of a block; None where it is empty or written on one line."""
    if not isinstance(held, CommentedMap | CommentedSeq) or not held or held.fa.flow_style():
        return None
    return _leaf(held, list(held)[-1] if isinstance(held, CommentedMap) else len(held) - 1)


def _slot(leaf: Leaf) -> int:
    """Return where the library keeps the comment after an entry of this kind of holder."""
    return 2 if isinstance(leaf[0], CommentedMap) else 0


def _cut_below(leaf: Leaf | None) -> str:
    """Cut off the comment on the lines below an entry, and return it; one beside it stays."""
    if leaf is None:
        return ""
    tokens = leaf[0].ca.items.get(leaf[1])
    token = tokens[_slot(leaf)] if tokens and len(tokens) > _slot(leaf) else None
    if not isinstance(token, CommentToken):
        return ""
    beside, _, below = token.value.partition("\n")
    if beside:
        token.value = beside + "\n"
    else:
        tokens[_slot(leaf)] = None
    return str(below)


def _put_below(leaf: Leaf | None, below: str) -> None:
    """Put a comment on the lines below an entry that has none there; one beside it stays."""
    if not below or leaf is None:
        return
    tokens = leaf[0].ca.items.setdefault(leaf[1], [None, None, None, None])
    token = tokens[_slot(leaf)]
    beside = token.value if isinstance(token, CommentToken) else "\n"
    tokens[_slot(leaf)] = CommentToken(
        beside + below, token.start_mark if token else CommentMark(0), None
    )
