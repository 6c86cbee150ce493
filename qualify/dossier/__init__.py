"""The dossier: pages, tables and files."""
