"""The workbook run in this very process: all of a report but the kernel, in a tenth of its time."""

import ast
import contextlib
import io
import json
import os
from pathlib import Path

import nbformat
import plotly.io
from IPython import display as ipython_display
from nbformat import v4


def run_in_process(source, target, *, parameters, **_):
    """Stand in for `rca.show.running.execution.run_workbook`: same notebook, same outputs."""
    from rca.show.running.execution import WorkbookFailed

    book = nbformat.read(source, as_version=4)
    space: dict = {}
    here = Path.cwd()
    os.chdir(Path(target).parent)
    try:
        for cell in (one for one in book.cells if one.cell_type == "code"):
            cell.outputs = _outputs(cell.source, space)
            if "parameters" in cell.metadata.get("tags", []):
                space.update(parameters)
    except Exception as error:
        nbformat.write(book, target)
        raise WorkbookFailed(type(error).__name__, str(error)) from error
    finally:
        os.chdir(here)
    nbformat.write(book, target)


def _outputs(code, space):
    """Run one cell as a notebook does: print, display, and show the last expression."""
    shown, printed = [], io.StringIO()
    tree = ast.parse(code)
    last = tree.body.pop() if tree.body and isinstance(tree.body[-1], ast.Expr) else None
    original = ipython_display.display
    ipython_display.display = lambda *things: shown.extend(things)
    try:
        with contextlib.redirect_stdout(printed):
            exec(compile(tree, "cell", "exec"), space)
            if last is not None:
                value = eval(compile(ast.Expression(last.value), "cell", "eval"), space)
                shown += [] if value is None else [value]
    finally:
        ipython_display.display = original
    outputs = [_output(thing) for thing in shown]
    if printed.getvalue():
        outputs.append(v4.new_output("stream", name="stdout", text=printed.getvalue()))
    return outputs


def _output(thing):
    if hasattr(thing, "to_plotly_json"):
        data = {"application/vnd.plotly.v1+json": json.loads(plotly.io.to_json(thing))}
    else:
        data = {"text/html": thing._repr_html_()}
    return v4.new_output("display_data", data=data)
