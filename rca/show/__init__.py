"""OUT: figures, sheets, forms and the page. The only room that draws."""
