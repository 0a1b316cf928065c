"""Several people at one archive: what one wrote against what another wrote, row by row and field by field."""
