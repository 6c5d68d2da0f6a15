"""Makes Django's admin the operators' own."""

from django.contrib.admin.apps import AdminConfig


class OperatorsConfig(AdminConfig):
    default_site = "fleet.operators.site.OperatorSite"
