"""Addresses of one turtle: its page, its card, and what is written about it. Part of `stock/urls.py`."""

from django.urls import path

from stock.views import turtle, turtle_marks

TURTLE_PATHS = [
    path("turtles/<int:number>/", turtle.turtle, name="turtle"),
    path("turtles/<int:number>/card/", turtle.turtle_card, name="turtle-card"),
    path("turtles/<int:number>/measure/", turtle.turtle_measure, name="turtle-measure"),
    path("turtles/<int:number>/measure/<uuid:key>/", turtle.measure_correct, name="measure-correct"),
    path("turtles/<int:number>/mark/", turtle_marks.turtle_mark, name="turtle-mark"),
    path("turtles/<int:number>/marks/<int:pk>/", turtle_marks.mark_event, name="turtle-mark-event"),
    path("turtles/<int:number>/sex/", turtle_marks.turtle_sex, name="turtle-sex"),
    path("turtles/<int:number>/nest/", turtle_marks.turtle_nest, name="turtle-nest"),
    path("turtles/<int:number>/picture/", turtle.turtle_photo, name="turtle-photo"),
    path(
        "turtles/<int:number>/<str:what>/<uuid:key>/take-back/", turtle.row_take_back, name="turtle-take-back"
    ),
    path("turtles/sizes/", turtle.turtle_sizes, name="turtle-sizes"),
    path("turtles/export/<str:form>", turtle.turtle_export, name="turtle-export"),
    path("turtles/pictures/<uuid:key>/<str:size>.jpg", turtle.photo_file, name="turtle-photo-file"),
]
