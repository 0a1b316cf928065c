"""What the map lacks: laterals left out of a row, mains nobody drew, gaps in a main; and which doubts matter most."""
