"""The site map. Everything but health needs a sign-in (LoginRequiredMiddleware)."""

from django.urls import path

from config import views

urlpatterns = [
    path("up/", views.up, name="up"),
]
