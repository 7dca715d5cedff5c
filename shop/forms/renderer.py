"""One template draws every field of every form."""

from django.forms.renderers import TemplatesSetting


class FieldRenderer(TemplatesSetting):
    """Draw fields with templates/forms/field.html (`field.as_field_group`)."""

    field_template_name = "forms/field.html"
