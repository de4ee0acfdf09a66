from django.db import migrations


class Migration(migrations.Migration):
    """The new tables' keys; a seal is nobody's, so that they stay as they are."""

    dependencies = [("clinic", "0017_seals")]

    operations = [migrations.RunSQL("SELECT scope_foreign_keys()", migrations.RunSQL.noop)]
