"""One exporter for all pages: nbconvert's machinery, templates of our own, everything escaped."""

from __future__ import annotations

from collections.abc import Mapping
from functools import cache
from typing import Any

from reviewkit.publishing.site import assets
from reviewkit.publishing.site.context import PageContext
from reviewkit.publishing.site.filters import FILTERS
from reviewkit.publishing.site.preprocess import PagePreprocessor
from reviewkit.system import slim_imports

with slim_imports.without(*slim_imports.SCHEMA_EXTRAS):
    from nbconvert.exporters import TemplateExporter
    from nbformat import from_dict


class PageExporter(TemplateExporter):
    """Renders executed notebooks as pages."""

    output_mimetype = "text/html"

    def _file_extension_default(self) -> str:
        return ".html"

    def _template_name_default(self) -> str:
        return "html"

    def _create_environment(self) -> Any:
        environment = super()._create_environment()
        environment.autoescape = True
        environment.filters.update(FILTERS)
        environment.globals["assets"] = assets.page_assets()
        return environment

    def _preprocess(self, nb: Any, resources: Any) -> tuple[Any, Any]:
        # The notebook has been put together for this page alone: copying and checking it would take longer
        # than all the rest.
        for step in self._preprocessors:
            nb, resources = step(nb, resources)
        return nb, resources


@cache
def exporter() -> PageExporter:
    """Return the exporter; making one takes longer than rendering a page."""
    made = PageExporter(extra_template_basedirs=[str(assets.templates().parent)], default_preprocessors=[])
    parts = PagePreprocessor(enabled=True)
    parts.parts = made.environment.get_template("parts.html.j2").module
    made.register_preprocessor(parts, enabled=True)
    return made


def rendered(notebook: Mapping[str, Any], page: PageContext) -> str:
    """Return a notebook as a page.

    Parameters
    ----------
    notebook : mapping
        As nbformat 4 has it, executed and fit to publish.
    page : PageContext
    """
    body, _ = exporter().from_notebook_node(from_dict(_joined(notebook)), resources={"page": page})
    return str(body)


def template(name: str, page: PageContext, **values: Any) -> str:
    """Return a page that is made from no notebook."""
    return str(exporter().environment.get_template(name).render(resources={"page": page}, **values))


def _joined(value: Any) -> Any:
    """Return the notebook with the lines of its texts put together, as preprocessors want them."""
    if not isinstance(value, Mapping):
        return value
    joined: dict[str, Any] = {}
    for key, item in value.items():
        is_text = key in ("source", "text") or key.startswith(("text/", "image/"))
        if is_text and isinstance(item, list):
            joined[key] = "".join(item)
        elif key in ("cells", "outputs"):
            joined[key] = [_joined(each) for each in item]
        else:
            joined[key] = _joined(item) if key in ("data",) else item
    return joined
