"""Reading files: bytes become rows of cells, cells become values, or a problem that names its column. No database."""
