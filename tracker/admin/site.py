"""The admin carries the workshop's name."""

from django.conf import settings
from django.contrib import admin

admin.site.site_header = settings.WORKSHOP_NAME
admin.site.site_title = settings.WORKSHOP_NAME
admin.site.index_title = "Records, people and keys"
admin.site.site_url = "/"
admin.site.enable_nav_sidebar = False
