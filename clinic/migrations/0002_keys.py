from django.db import migrations

SCOPE = "SELECT scope_foreign_keys()"

# Keys over more than the organization: what the two rows say of each other must agree.
AGREEING = """
ALTER TABLE clinic_document ADD CONSTRAINT document_episode_is_the_clients
    FOREIGN KEY (organization_id, episode_id, client_id) REFERENCES clinic_episode (organization_id, id, client_id);
ALTER TABLE clinic_document ADD CONSTRAINT document_current_version_is_its_own
    FOREIGN KEY (organization_id, current_version_id, id)
    REFERENCES clinic_documentversion (organization_id, id, document_id) DEFERRABLE INITIALLY DEFERRED;
ALTER TABLE clinic_document ADD CONSTRAINT document_amends_one_of_the_same_episode
    FOREIGN KEY (organization_id, amends_id, episode_id) REFERENCES clinic_document (organization_id, id, episode_id);
ALTER TABLE clinic_signature ADD CONSTRAINT signature_names_the_versions_author
    FOREIGN KEY (organization_id, version_id, version_author_id)
    REFERENCES clinic_documentversion (organization_id, id, author_id);
ALTER TABLE clinic_verdict ADD CONSTRAINT verdict_signature_is_her_cosignature
    FOREIGN KEY (organization_id, signature_id, version_id, by_id, signature_meaning)
    REFERENCES clinic_signature (organization_id, id, version_id, signer_id, meaning);
ALTER TABLE clinic_consent ADD CONSTRAINT consent_episode_is_the_clients
    FOREIGN KEY (organization_id, episode_id, client_id) REFERENCES clinic_episode (organization_id, id, client_id);
ALTER TABLE clinic_supervisorycontactclient ADD CONSTRAINT supervisory_contact_episode_is_the_clients
    FOREIGN KEY (organization_id, episode_id, client_id) REFERENCES clinic_episode (organization_id, id, client_id);
ALTER TABLE clinic_auditeventclient ADD CONSTRAINT audit_episode_is_the_clients
    FOREIGN KEY (organization_id, episode_id, client_id) REFERENCES clinic_episode (organization_id, id, client_id);
"""


class Migration(migrations.Migration):
    """Every key carries its organization along, and some their client, document or author."""

    dependencies = [("clinic", "0001_tables")]

    operations = [
        migrations.RunSQL(SCOPE, migrations.RunSQL.noop),
        migrations.RunSQL(AGREEING, migrations.RunSQL.noop),
    ]
