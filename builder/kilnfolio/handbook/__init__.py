"""The handbook: chapters in Markdown, read, checked and rendered as pages.

Modules
-------
chapter      front matter and text, with line numbers
source       parsing before Markdown: inline forms, directives, links, refused HTML
directives   figure, table, chart, example and problem
tables       what computed tables share; the kinds are in tables_air, tables_species and so on
examples     worked steps: names, arguments and the written working
svg          drawings, checked before they go into a page
rendered     a rendered chapter, and the builder interface that directives use
body         one chapter to HTML, for the site or for the book
pages        the pages of the handbook
"""
