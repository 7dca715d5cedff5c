"""Static files with their digest in the name, also inside our own modules."""

from whitenoise.storage import CompressedManifestStaticFilesStorage


class CollectedStaticFiles(CompressedManifestStaticFilesStorage):
    # Off by default in Django: modules would import the file without a digest
    # and a tablet could mix two releases.
    support_js_module_import_aggregation = True
