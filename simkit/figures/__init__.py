"""Every figure that is judged, declared once: a module a family, a `Figure` a figure."""
