"""The site map. Everything but health and the sign-in page needs a sign-in and a role (config.middleware)."""

from django.contrib.auth.views import LogoutView
from django.urls import include, path

from config import views
from config.people import views as people

urlpatterns = [
    path("up/", views.up, name="up"),
    path("sign-in/", people.SignIn.as_view(), name="sign-in"),
    path("sign-out/", LogoutView.as_view(), name="sign-out"),
    path("settings/health/", views.health, name="health"),
    path("settings/me/", people.me, name="me"),
    path("settings/people/", people.people_list, name="people-list"),
    path("settings/people/add/", people.person_add, name="person-add"),
    path("settings/people/of/<str:name>/", people.person_detail, name="person-detail"),
    path("settings/people/of/<str:name>/role/", people.person_role, name="person-role"),
    path("settings/people/of/<str:name>/disable/", people.person_disable, name="person-disable"),
    path("settings/people/of/<str:name>/enable/", people.person_enable, name="person-enable"),
    path("settings/people/of/<str:name>/reset/", people.person_reset, name="person-reset"),
    path("", include("ponds.urls")),
    path("", include("stock.urls")),
]
