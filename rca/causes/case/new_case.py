"""The commented file that a new case starts from."""

NEW_CASE = """\
# One case: what failed, why, how we know, what to do. Lines that begin with # are notes.
# Fill in what you know and leave the rest blank; text in (brackets) is to be replaced.
# `rca case show` prints the bench sheet, the why-chain, the next test and what to check upstream.

investigation: new-case
title: (part and complaint in a few words)
purpose: (what this is for, such as finding what we control that makes this part fail)
unit: # the unit on the bench
part: (part) # as in the repair records
mode: # the failure mode, for example: leaks, runs hot, loses pressure
opened: # YYYY-MM-DD
currency:

problem:
  # What was seen, with a number, and no cause in it.
  statement: (the part failed so many times in so many months)
  effect: # what it does to the unit or the service
  severity: # physical safety, road call, unit change, bad order (or a grade of your own scale)
  effect_probability: # share of these failures that have that effect, 0 to 1
  first_seen:
  trigger: # why it is looked into now
  what: {is: , is_not: }
  where: {is: , is_not: }
  when: {is: , is_not: }
  how_much: {is: , is_not: }
  good_units: # what was looked at on like units that did not fail
  changes_before: # a list: what was changed before the first failure
  # any: each is enough by itself; all: needed together; at_least: 2 with of: [...]
  because: {any: [broken, starved]}
  not_caught_because: no-check # which check should have seen it, and why it did not

causes:
  # Each says a full sentence that can follow "because". Names are yours: rename, add, remove.
  # layer: physical / upstream / human or procedural / organisational
  # branch: part itself, upstream supply, control or command, mating parts, duty and driver use,
  #         environment, maintenance, parts supply, measurement, design
  broken:
    says: (what broke inside the part)
    layer: physical
    branch: part itself
    because: overloaded
  overloaded:
    says: (what loaded, heated or soiled it)
    layer: upstream
    branch: mating parts
    because: load-allowed
    also_on_good_units: not checked # yes / no / not checked
    check: (what would show that this is not so, before the part is refitted)
  starved:
    says: (what was fed or commanded wrongly)
    layer: upstream
    branch: upstream supply
    because: feed-allowed
    check: {measurement: supply}
  # Rivals need ends of their own: with one end for both, nothing could tell them apart.
  load-allowed:
    says: (what made that load the normal thing)
    layer: organisational
    branch: maintenance
    stop: (why the chain stops here)
  feed-allowed:
    says: (what made that feed the normal thing)
    layer: organisational
    branch: maintenance
    stop: (why the chain stops here)
  no-check:
    says: (the check that should have seen it is missing or does not work)
    layer: organisational
    branch: maintenance
    stop: (why the chain stops here)

measurements:
  # One entry for each thing to measure, as found and again after the work.
  supply:
    quantity: (what is measured, and where)
    unit: V # V, mV, ohm, A, bar, kPa, psi, degC, l/min, mm, N*m, percent, ...
    at_least:
    at_most:
    limit_source: # document, edition, page; a limit without its source is refused
    # accuracy: from the instrument's data sheet, plus or minus, for example
    #   {percent_of_reading: 0.5, counts: 3, resolution: 0.01}; or give standard_uncertainty
    accuracy:
    instrument:
    state: # cold or hot, loaded or not, engine on or off
    direction: # each direction of working
    needs: # what has to be made safe first
    as_found: {reading: , date: , by: } # a number, a list, open circuit, over-range, no reading
    after: {reading: , date: , by: }

evidence:
  # kind: measured / recorded / observed / told / assumed; a link needs a measured or recorded one.
  # for / against: a cause, or a link written 'cause -> effect'.
  # if_true: expected / possible / unlikely / impossible, for each cause that it speaks about.
  first-look:
    kind: observed
    shows: (what was seen)
    date:
    by: # a role, no names
    for: broken
    if_true: {broken: expected}

tests:
  # What could be tested: what it costs and what it would show if each cause were the true one.
  first-test:
    does: (what to do)
    cost: 10 # money, labour included
    would_show: {overloaded: fail, starved: pass}
    false_pass: 0.05
    false_fail: 0.05
    safety_check: false # true: looks for a danger, comes first
    will_not_keep: false # true: waiting loses this evidence
    destroys_evidence: false # true: comes last
    needs:

fixes:
  # kind: correction (makes it work), containment (holds it back), corrective (removes the cause)
  # first-fix:
  #   does: (what to do)
  #   kind: corrective
  #   cause: overloaded # which cause it removes; one, or a list
  #   owner: # a role, no names
  #   due: # YYYY-MM-DD; and done: when it is
  #   measure: # what is compared before and after
  #   review: # YYYY-MM-DD, when its effect is looked at

conclusion:
  # cause:, confidence: proved / probable / possible, date:, by:

costs: # in the currency above; each line that is filled in gives its answer on the sheet
  restored_part: # a restored part, without fitting
  new_part: # a new part, without fitting
  each_failure: # labour, towing and downtime of one failure
  cause_removed: # removing the upstream cause, once
  life_with_cause: # how long a part lasts with the cause, how long without
  life_without_cause:
  life_unit: # months, hours, km
"""


def new_case_text(*, unit: str = "", part: str = "") -> str:
    """Text of a commented investigation file, to be filled in.

    Parameters
    ----------
    unit, part
        Written into the head of the file where they are known.
    """
    text = NEW_CASE
    if unit:
        text = text.replace("unit: # the unit on the bench", f"unit: {_quoted(unit)}", 1)
    if part:
        text = text.replace("part: (part) # as in the repair records", f"part: {_quoted(part)}", 1)
    return text


def _quoted(text: str) -> str:
    """Text as a YAML scalar in double quotes."""
    escaped = text.replace("\\", "\\\\").replace('"', '\\"').replace("\n", " ").replace("\t", " ")
    return f'"{escaped}"'
