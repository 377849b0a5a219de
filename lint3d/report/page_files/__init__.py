"""What the page is made of: its frame, style, marks and script. Read by `page_document.py`."""
