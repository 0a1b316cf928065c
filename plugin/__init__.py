"""The engine, its adapters to QGIS and the user interface; see DEVELOPERS.md for the import rules."""
