"""Pages of a list whose length is never counted: the next page is known by one row more than fits."""

from django_tables2.paginators import LazyPaginator


class OpenPaginator(LazyPaginator):
    """A LazyPaginator whose `count` is None, so that a template can ask and say nothing."""

    count = None
