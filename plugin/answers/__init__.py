"""What the desktop says when it is asked: answers as data, worked out and put into words without any window."""
