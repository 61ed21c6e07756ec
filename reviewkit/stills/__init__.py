"""Pictures for a video: each key figure and a card for each headline finding, light and dark."""

from reviewkit.stills.browser import browser
from reviewkit.stills.pictures import FOLDER, add, headlines

__all__ = ["FOLDER", "add", "browser", "headlines"]
