"""All reads over several tables: rows become the values that services/ takes. Nothing here writes."""
