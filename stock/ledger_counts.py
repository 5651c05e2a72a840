"""Private to `stock/ledger.py`: head counts accepted and taken back inside a posting's transaction."""

from __future__ import annotations

import uuid
from dataclasses import dataclass

from ponds.svg_marks import day_text
from stock.drafts import CountDraft, Draft
from stock.ledger_checks import check_not_reversed, key_reused
from stock.ledger_posting import Posting
from stock.ledger_rows import count_row, write_rows
from stock.ledger_rules import check_draft, check_heads, check_text
from stock.models import Count, CountHaul, CountReversal, Haul, Move, Survey
from stock.planning import Plan, PlannedEntry, Ref
from stock.refusals import CannotCount, CannotReset


@dataclass(frozen=True)
class Evidence:
    """What a count was read from: hauls of its pond that stand, the survey, the method and why not another."""

    hauls: tuple[Haul, ...] = ()
    survey: Survey | None = None
    method: str = ""
    method_reason: str = ""

    def check(self, draft: CountDraft) -> None:
        """Refuse hauls of another pond, of a later day, that were taken back, or that spoke before."""
        pond, as_of = draft.pond, draft.as_of
        # Locked, so that of two who accept at the same moment the second one sees the first.
        list(Haul.objects.select_for_update().filter(pk__in=[haul.pk for haul in self.hauls]).order_by("pk"))
        standing = Haul.objects.filter(
            pk__in=[haul.pk for haul in self.hauls],
            pond__code=pond,
            happened_on__lte=as_of,
            move__reversed_by=None,
        )
        if standing.count() < len(self.hauls):
            raise CannotCount(
                f"A haul this count is read from does not stand, is of another pond than {pond}, or is of a day "
                f"after {day_text(as_of)}. Read the survey again and accept what it says then.",
                field="hauls",
            )
        if self.survey is not None and self.survey.pond.code != pond:
            raise CannotCount(f"The survey is of pond {self.survey.pond.code}, the count of pond {pond}.")
        spoke = Count.objects.standing().filter(kind__code=draft.kind, evidence__haul__in=self.hauls).first()
        if spoke is not None:
            raise CannotCount(
                f"A count as of {day_text(spoke.as_of)} that was read from these hauls stands. A haul "
                "speaks once: take that "
                "count back first.",
                field="hauls",
            )

    def empties(self, count: CountDraft) -> bool:
        """Say whether a haul by itself proves a count: that pond and day, to the last head, not taken back."""
        complete = Haul.objects.filter(pk__in=[haul.pk for haul in self.hauls], is_complete=True)
        return complete.filter(
            pond__code=count.pond, happened_on=count.as_of, move__reversed_by=None
        ).exists()


class CountPosting(Posting):
    """A posting that accepts a count or takes one back."""

    def accept_count(
        self,
        draft: CountDraft,
        *,
        key: uuid.UUID,
        content: str,
        evidence: Evidence,
        resets: bool,
        reason: str,
    ) -> Count:
        """Write a count and, where it resets the book, the move to or from "unseen" behind it."""
        shape = Draft(key=key, happened_on=draft.as_of, pond=draft.pond, counts=(draft,))
        farm = self._know([shape])
        check_draft(shape, farm)
        check_text(reason, "reason")
        check_text(evidence.method_reason, "reason")
        evidence.check(draft)
        if resets and self._standing({key}):
            raise key_reused(key)
        move = self._reset_move(draft, key, content, reason) if resets else None
        count = count_row(self, draft, key=key, content=content, move=move, reason=reason)
        count.survey, count.method = evidence.survey, evidence.method
        count.method_reason = evidence.method_reason
        count.save(force_insert=True)
        CountHaul.objects.bulk_create(CountHaul(count=count, haul=haul) for haul in evidence.hauls)
        return count

    def take_back(self, count: Count, *, key: uuid.UUID, content: str, reason: str) -> CountReversal:
        """Write that a count does not stand, and reverse the move by which it reset the book, if any."""
        check_text(reason, "reason")
        if not reason.strip():
            raise CannotCount("Say why the count is taken back; the reason stays beside it.", field="reason")
        if count.move is not None:
            if count.move.made_as != Move.MadeAs.COUNT:
                raise CannotCount(
                    "This count came with the opening of the pond: take that move back, and the count goes with it.",
                )
            if not Move.objects.filter(reverses=count.move).exists():
                self.reverse_checked(count.move, check_not_reversed, key=key, note=reason, content=content)
        if CountReversal.objects.filter(count=count).exists():
            raise CannotCount("This count was taken back already.")
        return CountReversal.objects.create(
            count=count, key=key, content_sha256=content, reason=reason, by=self.by, by_name=self.by_name
        )

    def _reset_move(self, draft: CountDraft, key: uuid.UUID, content: str, reason: str) -> Move:
        counted = {
            "FEMALE": draft.females,
            "MALE": draft.males,
            "UNSEXED": draft.unsexed,
            "JUVENILE": draft.juveniles,
        }
        wanted = {of_class: round(heads) for of_class, heads in counted.items() if heads is not None}
        refs = {Ref(place, draft.kind, of_class) for of_class in wanted for place in (draft.pond, "UNSEEN")}
        sexes = [Ref(draft.pond, draft.kind, sex) for sex in ("FEMALE", "MALE") if sex not in wanted]
        refs |= set(sexes) if "UNSEXED" in wanted else set()
        self.store.lock_cells(refs)
        day = self.booked_on(draft.as_of)
        books = self._books({draft.as_of}, set(), refs)
        if "UNSEXED" in wanted and (held := sum(books.stood(sex, draft.as_of) for sex in sexes)):
            raise CannotReset(
                f"Pond {draft.pond} holds {held} adults by sex in the book, and this count did not sex them: reset to "
                "it, they would stand there twice. Sex the catch and count again, or accept the count without "
                "resetting the book.",
                field="resets_book",
            )
        plan = Plan()
        for of_class, heads in wanted.items():
            stands, unseen = Ref(draft.pond, draft.kind, of_class), Ref("UNSEEN", draft.kind, of_class)
            gap = heads - books.stood(stands, draft.as_of)
            if gap:
                source, target = (unseen, stands) if gap > 0 else (stands, unseen)
                entry = PlannedEntry(source, target, abs(gap), "COUNT_RESET")
                check_heads(entry.heads)
                books.apply(entry, day, draft.as_of)
                plan.entries.append(entry)
            if (below := books.cells[stands].first_below_zero_from(day)) is not None:
                raise CannotReset(
                    f"The book cannot be reset to {books.words(stands, heads)} as of {day_text(day)}: "
                    "moves booked later "
                    f"would take pond {draft.pond} below none by {day_text(below[0])}. Reset it as of a later day, or "
                    "correct the later moves."
                )
            if books.cells[stands].lowest_unmarked_from(day) < 0:
                raise CannotReset(
                    f"More {books.words(stands, 2).split(' ', 1)[1]} are marked in pond {draft.pond} than {heads}. "
                    "Say of the marked ones that are missing that their whereabouts are not known first."
                )
        move = Move(
            key=key,
            content_sha256=content,
            made_as="COUNT",
            pond_id=self.store.pond_ids[draft.pond],
            happened_on=draft.as_of,
            booked_on=day,
            by=self.by,
            by_name=self.by_name,
            note=reason,
        )
        return write_rows(self, books, [(move, None, plan)])[0]
