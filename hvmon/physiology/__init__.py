"""Published equations; numbers, arrays or polars expressions in and out."""
