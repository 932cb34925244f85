"""Run every workbook on the demo fleet and store only the small outputs of its check cells."""

from pathlib import Path

import nbformat
from nbclient import NotebookClient

CHECKED = "nbval-check-output"


def main() -> None:
    """Execute and clean the workbooks beside the package."""
    folder = Path(__file__).parents[1] / "workbooks"
    for path in sorted(folder.glob("*.ipynb")):
        book = nbformat.read(path, as_version=4)
        NotebookClient(
            book, kernel_name="python3", timeout=600, resources={"metadata": {"path": str(folder)}}
        ).execute()
        for cell in book.cells:
            if cell.cell_type != "code":
                continue
            cell.metadata.pop("execution", None)
            if CHECKED not in cell.metadata.get("tags", []):
                cell.outputs, cell.execution_count = [], None
        book.metadata.pop("widgets", None)
        book.metadata["language_info"] = {"name": "python"}
        nbformat.write(book, path)
        print(f"{path.name}: run")


if __name__ == "__main__":
    main()
