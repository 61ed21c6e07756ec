"""Pictures for a video: each key figure and a card for each headline finding, light and dark."""

from reviewkit.publishing.stills.browser import browser
from reviewkit.publishing.stills.pictures import FOLDER, add, headlines

__all__ = ["FOLDER", "add", "browser", "headlines"]
