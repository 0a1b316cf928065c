"""Fallkeeper: keeps and checks networks of buried field drains in QGIS."""


def classFactory(iface):  # noqa: N802 (the name QGIS asks for)
    """Return the plugin object; `iface` is None when QGIS runs without a desktop."""
    from .plugin.main import FallkeeperPlugin

    return FallkeeperPlugin(iface)
