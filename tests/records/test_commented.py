"""Additions to commented YAML: every comment stays, and stays where it belongs."""

from rca.records import files
from rca.records.commented import add_entry, add_item, in_one_line, remove_entry, section_of

TEXT = """\
# head
causes:
  # on all causes
  a:
    says: A happened # beside a
    because: {any: [b]} # beside the gate
  # on b
  b:
    says: B happened # beside b

# on measurements
measurements:
  m:
    quantity: q
    list:
      - one
      - two # beside two
# on evidence

evidence:
  e: {kind: told, shows: s}

fixes:
  # what a fix is
"""


def written(change):
    """The text after a change to the data, as a list of lines."""
    data = files.yaml_of(TEXT, file="x.yaml")
    change(data)
    return files.yaml_text(data, like=TEXT).splitlines()


def test_unchanged_data_gives_the_same_text_byte_for_byte():
    assert "\n".join(written(len)) + "\n" == TEXT


def test_a_new_entry_stands_above_the_comment_of_the_next_section():
    lines = written(lambda data: add_entry(data["causes"], "c", {"says": "C happened"}))
    place = lines.index("  c:")
    assert lines[place - 1] == "    says: B happened # beside b"
    assert lines[place + 1 : place + 4] == ["    says: C happened", "", "# on measurements"]


def test_a_new_item_of_a_list_stands_above_the_comment_below_the_list():
    lines = written(lambda data: add_item(data["measurements"]["m"]["list"], "three"))
    place = lines.index("      - three")
    assert lines[place - 1] == "      - two # beside two"
    assert lines[place + 1] == "# on evidence"


def test_additions_lose_no_comment_and_no_line():
    def change(data):
        add_entry(data["causes"], "c", {"says": "C happened"})
        add_entry(data["measurements"], "n", {"quantity": "z", "names": ["a", "b"]})
        add_entry(data["evidence"], "f", {"claim": in_one_line({"units": "all"})})
        add_entry(section_of(data, "fixes"), "new", {"does": "x"})
        add_entry(section_of(data, "tests"), "t", {"does": "y"})
        add_item(data["causes"]["a"]["because"]["any"], "c")

    lines = written(change)
    changed = "    because: {any: [b]} # beside the gate"
    assert set(TEXT.splitlines()) - set(lines) == {changed}
    assert "    because: {any: [b, c]} # beside the gate" in lines
    assert "    names: [a, b]" in lines
    assert "    claim: {units: all}" in lines


def test_what_stands_below_a_removed_entry_stays():
    lines = written(lambda data: remove_entry(data["causes"], "b"))
    assert "# on measurements" in lines
    assert "  # on b" in lines
    lines = written(lambda data: remove_entry(data["causes"], "a"))
    assert "  # on all causes" in lines
    assert "# on b" in [line.strip() for line in lines]


def test_a_blank_section_is_filled_and_a_missing_one_is_made():
    data = files.yaml_of("a: 1\nb: {}\nc:\n", file="x.yaml")
    for name in ("b", "c", "d"):
        add_entry(section_of(data, name), "one", {"says": "it"})
    text = files.yaml_text(data)
    assert text == "a: 1\n" + "".join(f"{n}:\n  one:\n    says: it\n" for n in "bcd")


def test_plain_data_is_changed_too():
    data = {"causes": {"a": {"says": "A"}}}
    add_entry(data["causes"], "b", {"says": "B"})
    remove_entry(data["causes"], "a")
    assert list(data["causes"]) == ["b"]
