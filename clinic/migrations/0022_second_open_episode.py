from django.db import migrations, models


class Migration(migrations.Migration):
    """An episode that was planned beside an open one out of the planner's reach stands without refusing."""

    dependencies = [("clinic", "0021_disclosure_keys")]

    operations = [
        migrations.RemoveConstraint(
            model_name='episode',
            name='episode_one_open_per_setting',
        ),
        migrations.AddField(
            model_name='episode',
            name='beside_another',
            field=models.BooleanField(db_default=False, default=False),
        ),
        migrations.AddConstraint(
            model_name='episode',
            constraint=models.UniqueConstraint(condition=models.Q(('status__in', ['planned', 'active', 'onhold']), ('beside_another', False)), fields=('client', 'setting', 'discipline', 'site'), name='episode_one_open_per_setting'),
        ),
    ]
