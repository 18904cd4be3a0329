"""What people look at: figures, tables, files."""
