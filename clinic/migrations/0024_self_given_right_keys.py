from django.db import migrations


class Migration(migrations.Migration):
    """The keys of self-given rights to whoever gave them, and to their episode, carry their organization along."""

    dependencies = [("clinic", "0023_self_given_rights")]

    operations = [migrations.RunSQL("SELECT scope_foreign_keys()", migrations.RunSQL.noop)]
