"""Reads a drawing back: well-formed or an error, its texts and its shapes."""

from __future__ import annotations

from xml.etree import ElementTree

NAMESPACE = "{http://www.w3.org/2000/svg}"


def shapes(svg, tag):
    return [shape.attrib for shape in ElementTree.fromstring(svg).iter(NAMESPACE + tag)]


def texts(svg):
    return [shape.text for shape in ElementTree.fromstring(svg).iter(NAMESPACE + "text")]


def path_points(attributes):
    """Corner points of a path of straight lines."""
    numbers = [float(word) for word in attributes["d"].replace("M", " ").replace("Z", " ").split()]
    return list(zip(numbers[::2], numbers[1::2]))
