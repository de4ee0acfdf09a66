from django.db import migrations


class Migration(migrations.Migration):
    """The keys of readings to documents and readers carry their organization along."""

    dependencies = [("clinic", "0013_document_readings")]

    operations = [migrations.RunSQL("SELECT scope_foreign_keys()", migrations.RunSQL.noop)]
