from django.db import migrations

AGREEING = """
ALTER TABLE scheduling_plannedgoal ADD CONSTRAINT planned_goal_is_of_the_episode
    FOREIGN KEY (organization_id, goal_id, episode_id) REFERENCES goals_goal (organization_id, id, episode_id);
ALTER TABLE scheduling_plannedgoal ADD CONSTRAINT planned_goal_participation_is_of_the_episode
    FOREIGN KEY (organization_id, participation_id, episode_id)
    REFERENCES scheduling_participation (organization_id, id, episode_id);
"""


class Migration(migrations.Migration):
    """The keys of what is planned carry their organization along, and goal and visit are of one episode."""

    dependencies = [("scheduling", "0006_planned_goals_and_templates")]

    operations = [
        migrations.RunSQL("SELECT scope_foreign_keys()", migrations.RunSQL.noop),
        migrations.RunSQL(AGREEING, migrations.RunSQL.noop),
    ]
