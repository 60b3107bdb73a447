"""The only addresses at which somebody who is not signed in may write: each of those opens by a keyed token of its own."""

from django.urls import path

from studio.letterbox.views import come_in, passwords, stop

urlpatterns = [
    path("stop/<str:token>/", stop.stop, name="letterbox-stop"),
    path("come-in/<str:token>/", come_in.come_in, name="letterbox-come-in"),
    path("password/", passwords.password, name="letterbox-password"),
    path("password/sign-out/", passwords.sign_out_elsewhere, name="letterbox-sign-out-elsewhere"),
]
