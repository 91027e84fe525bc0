"""Values drawn as text, JSON, CSV, HTML, workbook or JUnit: pure, one folder a document."""
