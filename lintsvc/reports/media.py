"""Media types that processes share which must not import what makes the bytes."""

#: A body for the page, see `lintsvc.reports.geometry`.
BODY_TYPE = "application/vnd.lintsvc.body"
#: Wall and gap widths for the page, see `lintsvc.reports.geometry_widths`.
WIDTHS_TYPE = "application/vnd.lintsvc.widths"
