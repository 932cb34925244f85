"""An executed notebook as one self-contained page that asks nothing of any network."""

import html
import json
import warnings
from pathlib import Path
from typing import Any

from rca.errors import RcaError
from rca.show.page import style

PLOTLY = "application/vnd.plotly.v1+json"
WIDGET = "application/vnd.jupyter.widget-view+json"
NOT_ON_PAGE = "not-on-page"  # tag of cells that serve the tests of the workbooks only
_CONFIG = {"displayModeBar": False, "responsive": True}


def notebook_to_page(notebook: Path, *, title: str) -> str:
    """Return the notebook's outputs as a page: code hidden, figures drawn, nothing loaded.

    Raises
    ------
    RcaError
        A figure of the notebook did not reach the page.
    """
    import nbformat
    from nbconvert import HTMLExporter
    from traitlets.config import Config

    node = nbformat.read(notebook, as_version=4)
    wanted = _draw_plotly_as_html(node)
    config = Config()
    config.HTMLExporter.extra_template_basedirs = [str(Path(__file__).parent / "templates")]
    config.HTMLExporter.exclude_input = True
    config.HTMLExporter.exclude_output_prompt = True
    config.TagRemovePreprocessor.enabled = True
    config.TagRemovePreprocessor.remove_cell_tags = {NOT_ON_PAGE}
    exporter = HTMLExporter(config=config, template_name="page")
    resources = {
        "page_title": title,
        "page_style": style(),
        "page_script": _plotly_script() if wanted else "",
    }
    with warnings.catch_warnings():
        warnings.simplefilter("error", UserWarning)  # nbconvert drops what it cannot show
        body, _ = exporter.from_notebook_node(node, resources=resources)
    drawn = body.count('class="figure"')
    if drawn != wanted:
        raise RcaError(f"{wanted} figures in the notebook, {drawn} on the page")
    return str(body)


def _plotly_script() -> str:
    from plotly.offline import get_plotlyjs

    return str(get_plotlyjs()).replace("</script", "<\\/script")


def _draw_plotly_as_html(node: Any) -> int:
    """Turn every plotly output into a div and its script; drop widgets, which need a kernel."""
    node.metadata.pop("widgets", None)
    count = 0
    for cell in node.cells:
        if cell.cell_type != "code":
            continue
        kept = []
        for output in cell.outputs:
            data = output.get("data", {})
            if WIDGET in data:
                continue
            if PLOTLY in data:
                data = {"text/html": _figure_html(data[PLOTLY], number=count)}
                output["data"] = data
                count += 1
            if output.get("name") != "stderr":
                kept.append(output)
        cell.outputs = kept
    return count


def _figure_html(figure: Any, *, number: int) -> str:
    """One figure as HTML; JSON inside a script must not end it."""
    layout = figure.get("layout", {})
    alt = html.escape(str((layout.get("meta") or {}).get("alt", "figure")), quote=True)
    height = int(layout.get("height", 400))
    name = f"figure-{number}"
    text = {
        part: json.dumps(value).replace("</", "<\\/").replace("<!--", "<\\!--")
        for part, value in (("data", figure.get("data", [])), ("layout", layout))
    }
    return (
        f'<div class="figure" id="{name}" role="img" aria-label="{alt}" '
        f'style="height:{height}px"></div>\n'
        f'<script>Plotly.newPlot("{name}", {text["data"]}, {text["layout"]}, '
        f"{json.dumps(_CONFIG)});</script>"
    )
