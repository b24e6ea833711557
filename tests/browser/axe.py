"""What axe, the accessibility checker, finds on a page by its default rules: WCAG 2.0 to 2.2, and good practice."""

from __future__ import annotations

from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import Page

FAULTS_ALONE = {"resultTypes": ["violations"]}
"""What passed is told with one example a rule: of a whole page it would be megabytes."""


def faults(page: Page) -> dict[str, list[str]]:
    """By the rule's name, the elements that break it; empty for a page without a fault."""
    if not page.evaluate("'axe' in window"):
        page.evaluate(Axe().axe_script)
    found = page.evaluate("async (options) => (await axe.run(options)).violations", FAULTS_ALONE)
    return {one["id"]: [node["html"][:200] for node in one["nodes"]] for one in found}
