"""Chapters in Markdown to pages: read, checked, and rendered.

Modules
-------
chapter      front matter, the text, and where each line stands
source       the text before Markdown sees it: inline forms, directives, links, what is refused
directives   figure, table, chart, example and problem
tables       what every computed table shares; tables_air, tables_species, tables_schedules and
             tables_books hold the kinds
examples     worked steps: names, arguments, and the board
svg          drawings made safe to put into a page
rendered     what rendering a chapter makes, and what a directive may use of it
body         one chapter to HTML, for the site or for the book
pages        the pages of the handbook
"""
