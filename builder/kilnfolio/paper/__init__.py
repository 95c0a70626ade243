"""Everything printed: books, sheets, labels and the PDFs of records.

Modules
-------
printing      HTML to PDF, for every PDF
book          the handbook as a book
pocket        the pocket edition, A5
booklet       the trainee's booklet and the trainer's key
sheet         the kiln-side sheet of a charge
label_sheets  labels for packs
charge_pdf    the record of a sealed charge, for archives
lot_pdf       the record of a lot
codes         the QR code of a PDF
audit_report  an audit's report
"""
