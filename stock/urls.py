"""The register's addresses. One line a page; `tests/address_rows.py` has a row for each."""

app_name = "stock"

urlpatterns: list = []
