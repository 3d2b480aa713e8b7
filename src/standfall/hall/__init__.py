"""The hall: free floor, areas, docks, and robots and people as shapes."""

from standfall.hall.model import Model, Worker, crew_model, make_model
from standfall.hall.obstruction import mural_findings
from standfall.hall.site import Site, make_site

__all__ = ["Model", "Site", "Worker", "crew_model", "make_model", "make_site", "mural_findings"]
