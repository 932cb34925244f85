"""Root-cause workbooks for fleet repair records."""
