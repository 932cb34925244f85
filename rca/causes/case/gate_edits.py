"""Edits to `because` as it stands in a file: a name, or any / all / at_least with of, nested."""

from collections.abc import Mapping, Sequence
from typing import Any

from rca.errors import RcaError
from rca.records.commented import add_item, as_yaml

Because = Any  # str, or a mapping with one of the words


def joined(because: Because, name: str, *, word: str) -> Because:
    """Return `because` with one more cause; `word` is any (OR) or all (AND), for it and the rest.

    Raises
    ------
    RcaError
        The cause leads there already.
    """
    if because is None:
        return name
    if name in names_in(because):
        raise RcaError(f"{name} leads there already", next_step="choose another effect")
    if not isinstance(because, str) and word in because:
        add_item(because[word], name)
        return because
    return _block(word, [because, name])


def without(because: Because, name: str, *, must: bool = True) -> Because:
    """Return `because` without a cause; None where nothing is left.

    Raises
    ------
    RcaError
        The cause does not lead there, and it must.
    """
    if because is None or name not in names_in(because):
        if must:
            raise RcaError(f"{name} does not lead there", next_step="choose one that does")
        return because
    return _less(because, name)


def together(because: Because, names: Sequence[str], *, word: str) -> Because:
    """Return `because` with some of its causes marked as any (OR) or all (AND).

    All causes of a block: the block changes its word. Some of them: they get a block of their own.

    Raises
    ------
    RcaError
        Fewer than two are named, or they do not stand side by side.
    """
    if len(names) < 2:
        raise RcaError("choose at least two causes", next_step="add another one first if need be")
    if isinstance(because, str) or because is None:
        raise RcaError("there is only one cause here", next_step="add another one first")
    return _marked(because, list(names), word)


def names_in(because: Because) -> list[str]:
    """Return every cause that is named, in order."""
    if because is None:
        return []
    if isinstance(because, str):
        return [because]
    return [name for one in _inputs(because) for name in names_in(one)]


def _marked(block: Any, names: list[str], word: str) -> Because:
    inputs = _inputs(block)
    here = [one for one in inputs if isinstance(one, str)]
    if not set(names) <= set(here):
        for place, one in enumerate(inputs):
            if not isinstance(one, str) and set(names) <= set(names_in(one)):
                inputs[place] = _marked(one, names, word)
                return _flattened(block)
        raise RcaError(
            f"{', '.join(names)} do not stand side by side",
            next_step="choose causes of the same group, or move one of them first",
        )
    if len(names) == len(inputs):
        if word in block:
            raise RcaError("they are marked so already", next_step="nothing needs to be done")
        return _flattened(_block(word, inputs))
    if word in block:
        raise RcaError("they are marked so already", next_step="nothing needs to be done")
    place = min(inputs.index(name) for name in names)
    for name in names:
        inputs.remove(name)
    inputs.insert(place, _block(word, names))
    return block


def _less(because: Any, name: str) -> Because:
    if isinstance(because, str):
        return None
    word, inputs = _word(because), _inputs(because)
    for place, one in enumerate(list(inputs)):
        if one == name:
            del inputs[place]
        elif name in names_in(one):
            rest = _less(one, name)
            if rest is None:
                del inputs[place]
            else:
                inputs[place] = rest
        else:
            continue
        break
    if not inputs:
        return None
    if len(inputs) == 1:
        return inputs[0]
    if word == "of" and because["at_least"] > len(inputs):
        because["at_least"] = len(inputs)
    return _flattened(because)


def _flattened(block: Any) -> Any:
    """Take the inputs of an inner any into an outer any, and of an inner all into an outer all."""
    word = _word(block)
    if word == "of":
        return block
    inputs = _inputs(block)
    flat: list[Any] = []
    for one in inputs:
        flat += _inputs(one) if not isinstance(one, str) and _word(one) == word else [one]
    if len(flat) != len(inputs):
        return _block(word, flat)
    return block


def _word(block: Mapping[str, Any]) -> str:
    return next(word for word in ("any", "all", "of") if word in block)


def _inputs(block: Mapping[str, Any]) -> Any:
    return block[_word(block)]


def _block(word: str, inputs: Sequence[Any]) -> Any:
    """Write a block on one line where all that is in it is."""
    held = as_yaml({word: list(inputs)})
    inner = [one for one in inputs if not isinstance(one, str)]
    lines = any(hasattr(one, "fa") and not one.fa.flow_style() for one in inner)
    if lines:
        held[word].fa.set_block_style()
    else:
        held.fa.set_flow_style()
    return held
