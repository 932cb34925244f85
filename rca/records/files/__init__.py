"""The one reader and writer of files; no other module of records, life and causes opens one."""

from rca.records.files.folders import (
    copy_folder,
    folder_that_appears_whole,
    make_folder,
    newest_run,
    point_to,
)
from rca.records.files.package_files import (
    package_json,
    shipped,
)
from rca.records.files.plain_files import (
    copy_file,
    read_frame,
    read_text,
    sha256,
    write_bytes,
    write_csv,
    write_frame,
    write_json,
    write_new_text,
    write_text,
    write_text_over,
)
from rca.records.files.spreadsheet import (
    spreadsheet_safe,
)
from rca.records.files.table_files import (
    TABLE_ENDINGS,
    RawTable,
    TableSource,
    file_bytes,
    read_table,
    sheet_names,
)
from rca.records.files.yaml_files import (
    line_of,
    read_yaml,
    write_yaml,
    yaml_of,
    yaml_text,
)

__all__ = [
    "TABLE_ENDINGS",
    "RawTable",
    "TableSource",
    "copy_file",
    "copy_folder",
    "file_bytes",
    "folder_that_appears_whole",
    "line_of",
    "make_folder",
    "newest_run",
    "package_json",
    "point_to",
    "read_frame",
    "read_table",
    "read_text",
    "read_yaml",
    "sha256",
    "sheet_names",
    "shipped",
    "spreadsheet_safe",
    "write_bytes",
    "write_csv",
    "write_frame",
    "write_json",
    "write_new_text",
    "write_text",
    "write_text_over",
    "write_yaml",
    "yaml_of",
    "yaml_text",
]
