"""Papers: pictures of the mural and its fall, the shopping list and the sheets a crew lays from."""

from standfall.papers.camera_view import draw_camera_view
from standfall.papers.fall_folder import write_fall_pictures
from standfall.papers.paper_folder import write_papers
from standfall.papers.preview import draw_preview

__all__ = ["draw_camera_view", "draw_preview", "write_fall_pictures", "write_papers"]
