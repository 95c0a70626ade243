"""What readers open: pages, PDF, drawings, and the files they need.

Rooms
-----
page, routes   a finished page, and where each one stands in the site
safety         the wording on every page and PDF
templating     templates' surroundings and filters
handbook/      chapters in Markdown to pages
book           the handbook as PDF
charts/        drawings of numbers as SVG
assets/        style sheets, fonts, scripts
"""
