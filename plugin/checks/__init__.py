"""Checks: one a file, declared with declare.check; catalogue.py lists them in the order of the report."""
