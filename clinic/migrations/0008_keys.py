from django.db import migrations


class Migration(migrations.Migration):
    """The keys of court orders, and to whoever took a consent back, carry their organization along."""

    dependencies = [("clinic", "0007_who_may_decide")]

    operations = [migrations.RunSQL("SELECT scope_foreign_keys()", migrations.RunSQL.noop)]
