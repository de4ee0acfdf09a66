from django.db import migrations


class Migration(migrations.Migration):
    """The new table's keys; an account is nobody's, so that they stay as they are."""

    dependencies = [("clinic", "0009_trail_of_accounts")]

    operations = [migrations.RunSQL("SELECT scope_foreign_keys()", migrations.RunSQL.noop)]
