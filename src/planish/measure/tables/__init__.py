"""Text and Parquet tables: read within bounds, columns with units."""
