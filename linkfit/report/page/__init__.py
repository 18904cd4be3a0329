"""The capacity report: one content, written as a page, as PDF, as Markdown and as figures."""
