from django.db import migrations


class Migration(migrations.Migration):
    """The keys to whoever entered a child or a contact carry their organization along."""

    dependencies = [("clinic", "0003_entered_by")]

    operations = [migrations.RunSQL("SELECT scope_foreign_keys()", migrations.RunSQL.noop)]
