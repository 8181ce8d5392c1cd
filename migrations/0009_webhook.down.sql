DROP TABLE webhook_secret;
DROP TABLE webhook;
