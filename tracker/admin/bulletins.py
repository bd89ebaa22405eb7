"""Bulletins, their parts, steps and notices, to look at: they are written, released and moved at the desk."""

from django.contrib import admin

from tracker.admin.lookonly import LookOnlyAdmin, LookOnlyInline
from tracker.models import Bulletin, BulletinNotice, BulletinPart, BulletinRange, BulletinStep, BulletinText


class BulletinRanges(LookOnlyInline):
    """The serial ranges a bulletin names."""

    model = BulletinRange


class BulletinTexts(LookOnlyInline):
    """Its words in other languages."""

    model = BulletinText


@admin.register(Bulletin)
class BulletinAdmin(LookOnlyAdmin):
    """Bulletins and what they name."""

    list_display = ["number", "title", "severity", "is_hazard", "state", "written_by", "released_by", "released_at"]
    list_filter = ["state", "severity", "is_hazard"]
    list_select_related = ["written_by", "released_by"]
    search_fields = ["number", "title"]
    date_hierarchy = "written_at"
    inlines = [BulletinRanges, BulletinTexts]


@admin.register(BulletinPart)
class BulletinPartAdmin(LookOnlyAdmin):
    """Components under bulletins and how far each has come."""

    list_display = ["bulletin", "component", "certainty", "state", "since", "by", "next_due_on"]
    list_filter = ["state", "certainty"]
    list_select_related = ["bulletin", "component", "by"]
    search_fields = ["bulletin__number", "component__serial"]
    date_hierarchy = "since"


@admin.register(BulletinStep)
class BulletinStepAdmin(LookOnlyAdmin):
    """Every step of every component, as it was taken."""

    list_display = ["bulletin", "component", "before", "after", "at", "by", "trike", "job_card"]
    list_filter = ["after"]
    list_select_related = ["bulletin", "component", "by", "trike", "job_card"]
    search_fields = ["bulletin__number", "component__serial", "trike__frame_serial"]
    date_hierarchy = "at"


@admin.register(BulletinNotice)
class BulletinNoticeAdmin(LookOnlyAdmin):
    """Who was told of which hazard, and whether they read it."""

    list_display = ["bulletin", "trike", "owner", "message", "written_at", "read_at", "told_at"]
    list_select_related = ["bulletin", "trike", "owner", "message"]
    search_fields = ["bulletin__number", "trike__frame_serial"]
    date_hierarchy = "written_at"
