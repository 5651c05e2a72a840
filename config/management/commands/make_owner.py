"""Give the farm its first owner, or let a locked-out owner in again."""

from django.contrib.auth.models import User
from django.core.management.base import BaseCommand, CommandError

from config.people import accounts
from config.people.forms import PersonForm
from ponds.roles import OWNER


class Command(BaseCommand):
    help = (
        "Makes NAME an owner and prints a one-time password. Run it once on a new farm, and again when an owner "
        "can no longer sign in: the person is then enabled, made an owner, and their password replaced."
    )

    def add_arguments(self, parser) -> None:
        parser.add_argument("name", metavar="NAME")

    def handle(self, *args, name: str, **options) -> None:
        person = User.objects.filter(username=User.normalize_username(name)).first()
        if person is None:
            form = PersonForm({"name": name, "role": OWNER})
            if not form.is_valid():
                raise CommandError(
                    " ".join(str(sentence) for found in form.errors.values() for sentence in found)
                )
            person, password = accounts.add_person(name=form.cleaned_data["name"], role=OWNER)
        else:
            accounts.change_role(person, OWNER)
            password = accounts.enable(person)
        self.stdout.write(f"Name: {person.get_username()}")
        self.stdout.write(f"One-time password: {password}")
        self.stdout.write(
            f"It opens the door for {accounts.ONE_TIME_HOURS} hours; the first sign-in asks for another."
        )
