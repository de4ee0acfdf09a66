from django.db import migrations

AGREEING = """
ALTER TABLE clinic_document ADD CONSTRAINT document_error_is_its_own
    FOREIGN KEY (organization_id, error_id, id) REFERENCES clinic_enteredinerror (organization_id, id, document_id);
"""


class Migration(migrations.Migration):
    """Keys carry their organization along, and what is said of a document is said of that one."""

    dependencies = [("clinic", "0029_entered_in_error")]

    operations = [
        migrations.RunSQL("SELECT scope_foreign_keys()", migrations.RunSQL.noop),
        migrations.RunSQL(AGREEING, migrations.RunSQL.noop),
    ]
